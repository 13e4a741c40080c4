import type { ByteLink, LinkListener } from '../../src/protocol/link.ts';

/** The longest that something may take on a busy machine before a test gives up on it, milliseconds. */
const PATIENCE = 15_000;

export const pause = (ms: number): Promise<void> =>
  new Promise((resolve) => setTimeout(resolve, ms));

/** Looks again and again until it is so. */
export async function until(isSo: () => boolean, what: string): Promise<void> {
  for (let waited = 0; !isSo(); waited += 5) {
    if (waited > PATIENCE) throw new Error(`This never came: ${what}`);
    await pause(5);
  }
}

/**
 * A link in real time that knows when what is on its way has arrived: when every line that was written has been answered
 * by one, or the link has ended. For a far end that answers each line by just one.
 */
export function watchedLink(link: ByteLink): {
  link: ByteLink;
  settle(): Promise<void>;
  /** Resolves when it is not open. */
  ended(): Promise<void>;
} {
  let awaited = 0;
  let isOpen = false;
  const count = (bytes: Uint8Array): number => bytes.filter((byte) => byte === 0x0a).length;
  const watched = (listener: LinkListener): LinkListener => ({
    bytes: (chunk) => {
      awaited -= count(chunk);
      listener.bytes(chunk);
    },
    closed: (end) => {
      awaited = 0;
      isOpen = false;
      listener.closed(end);
    },
  });
  return {
    link: {
      label: link.label,
      open: async (listener) => {
        awaited = 0;
        await link.open(watched(listener));
        isOpen = true;
      },
      write: async (bytes) => {
        await link.write(bytes);
        awaited += count(bytes);
      },
      close: async () => {
        await link.close();
        awaited = 0;
        isOpen = false;
      },
    },
    ended: () => until(() => !isOpen, 'the end of the link'),
    settle: async () => {
      await until(() => awaited <= 0, 'an answer to every line');
      await pause(30); // what should not come has its chance to come
    },
  };
}
