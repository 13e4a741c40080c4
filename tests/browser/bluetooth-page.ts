import type { ByteLink, LinkError } from '../../src/protocol/link.ts';
import { realClock } from '../../src/transport/real-clock.ts';
import { webBluetooth } from '../../src/transport/web-bluetooth.ts';

/** A page with nothing on it but a button and a Bluetooth link: a test calls it from outside, and hears causes and plain values. */
export interface BluetoothPage {
  missing(): Promise<string>;
  /** What came of the last press of the page's button, which opens the chooser. */
  chosen: Promise<string> | undefined;
  permitted(): Promise<number>;
  open(): Promise<string>;
  write(length: number): Promise<string>;
  close(): Promise<void>;
  /** Why the link ended by itself, each time. */
  readonly endings: readonly string[];
  /** How often the board was said to be there again; undefined where this browser never says so. */
  returns: number | undefined;
}

declare global {
  var bluetoothPage: BluetoothPage;
}

const kind = webBluetooth(navigator.bluetooth, realClock);
const endings: string[] = [];
let link: ByteLink | undefined;

const outcome = (work: Promise<unknown>): Promise<string> =>
  work.then(
    () => 'done',
    ({ cause, message }: LinkError) => `${cause}: ${message}`,
  );

/** The link that the rest is done to. */
function use(chosen: ByteLink): void {
  link = chosen;
  if (link.onReturn) {
    globalThis.bluetoothPage.returns = 0;
    link.onReturn(() => globalThis.bluetoothPage.returns!++);
  }
}

globalThis.bluetoothPage = {
  missing: async () => (await kind.missing())?.cause ?? 'nothing',
  chosen: undefined,
  permitted: async () => (await kind.permitted()).length,
  open: () => outcome(link!.open({ bytes: () => {}, closed: ({ cause }) => endings.push(cause) })),
  write: (length) => outcome(link!.write(new Uint8Array(length).fill(0x0a))),
  close: () => link!.close(),
  endings,
  returns: undefined,
};

document.querySelector('button')!.onclick = () => {
  globalThis.bluetoothPage.chosen = outcome(kind.choose().then(use));
};
