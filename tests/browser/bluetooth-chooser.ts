import type { Page } from 'playwright-core';

/**
 * Answers the Bluetooth chooser of a page, as a person does, until told otherwise: a browser without a window shows
 * none, and asks over its debugging protocol.
 */
export class BluetoothChooser {
  /** The name of the board to pick; undefined closes the chooser without a choice. */
  pick: string | undefined;
  /** How often a chooser was opened. */
  opened = 0;

  static async of(page: Page): Promise<BluetoothChooser> {
    const chooser = new BluetoothChooser();
    const session = await page.context().newCDPSession(page);
    await session.send('DeviceAccess.enable');
    const seen = new Set<string>();
    const answered = new Set<string>();
    // Told again whenever the list grows, from an empty one on; Chromium does not survive a second answer.
    session.on('DeviceAccess.deviceRequestPrompted', ({ id, devices }) => {
      if (!seen.has(id)) chooser.opened++;
      seen.add(id);
      const device = devices.find(({ name }) => name === chooser.pick);
      if (answered.has(id) || (chooser.pick !== undefined && !device)) return;
      answered.add(id);
      void (device
        ? session.send('DeviceAccess.selectPrompt', { id, deviceId: device.id })
        : session.send('DeviceAccess.cancelPrompt', { id }));
    });
    return chooser;
  }
}
