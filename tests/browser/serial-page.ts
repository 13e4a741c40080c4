import type { LinkCause, LinkError } from '../../src/protocol/link.ts';
import { realClock } from '../../src/transport/real-clock.ts';
import { webSerial, type SerialLink } from '../../src/transport/web-serial.ts';

/**
 * What a page holds so that a test can work serial links in it from outside: bytes cross as lists of numbers, errors as
 * their cause and words.
 */
export interface SerialPage {
  /** Chooses the port of this USB product. */
  choose(product: number): Promise<number>;
  /** @param opening marks what is told of this opening */
  open(link: number, opening: number): Promise<Outcome>;
  write(link: number, bytes: number[]): Promise<Outcome>;
  /** Writes far more than fits on the way to a board that does not read. */
  flood(link: number): Promise<Outcome>;
  close(link: number): Promise<Outcome>;
  /** From now on a return of the link's board is told. */
  watch(link: number): void;
  state(link: number): { label: string; gaps: number; signalsRefused: boolean };
}

/** Nothing where all went well. */
export type Outcome = { cause: LinkCause; message: string } | undefined;

/** What the page tells of a link, as it happens. */
export type Told =
  | { opening: number; what: 'bytes'; bytes: number[] }
  | { opening: number; what: 'closed'; cause: LinkCause; message: string }
  | { link: number; what: 'returned' };

declare global {
  var serialPage: SerialPage;
  var told: (told: Told) => void;
  /** What the person will choose: a USB product. */
  var productToChoose: number | undefined;
}

const kind = webSerial({ serial: navigator.serial, clock: realClock, needsRights: true });
const links: SerialLink[] = [];

function numberOf(link: SerialLink): number {
  if (!links.includes(link)) links.push(link);
  return links.indexOf(link);
}

async function outcomeOf(work: Promise<void>): Promise<Outcome> {
  try {
    await work;
    return undefined;
  } catch (error) {
    const { cause, message } = error as LinkError;
    return { cause, message };
  }
}

globalThis.serialPage = {
  choose: async (product) => {
    globalThis.productToChoose = product;
    return numberOf(await kind.choose());
  },
  open: (link, opening) =>
    outcomeOf(
      links[link]!.open({
        bytes: (chunk) => told({ opening, what: 'bytes', bytes: [...chunk] }),
        closed: ({ cause, message }) => told({ opening, what: 'closed', cause, message }),
      }),
    ),
  write: (link, bytes) => outcomeOf(links[link]!.write(Uint8Array.from(bytes))),
  flood: (link) => outcomeOf(links[link]!.write(new Uint8Array(2_000_000))),
  close: (link) => outcomeOf(links[link]!.close()),
  watch: (link) => void links[link]!.onReturn!(() => told({ link, what: 'returned' })),
  state: (link) => {
    const { label, gaps, signalsRefused } = links[link]!;
    return { label, gaps, signalsRefused };
  },
};
