import { LinkError } from '../protocol/link.ts';
import { listSerialPorts } from '../transport/serial-port.ts';
import { failed, type Outcome } from './outcome.ts';

/** `ports`: the serial ports of this machine. */
export async function ports(): Promise<Outcome> {
  try {
    const list = await listSerialPorts();
    if (list.length === 0) {
      return {
        code: 0,
        out: 'This machine lists no serial port. Plug the board in; pseudo-terminals and WebSockets are not listed, and can be named all the same.\n',
      };
    }
    const lines = list.map(({ path, maker, usbSerial }) =>
      [path, maker, usbSerial && `USB serial ${usbSerial}`].filter(Boolean).join('  '),
    );
    return { code: 0, out: `${lines.join('\n')}\n` };
  } catch (error) {
    if (error instanceof LinkError) return failed(`${error.message}.`);
    throw error;
  }
}
