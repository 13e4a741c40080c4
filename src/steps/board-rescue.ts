import type { Clock } from '../protocol/clock.ts';
import type { ByteLink } from '../protocol/link.ts';
import type { Entry } from '../records/entries.ts';
import { nextStep, type Intention, type Offer } from './next-step.ts';
import type { BenchPlace } from './place.ts';
import type { PlaceState } from './place-state.ts';
import { examine, type KnownCoefficients, type RescueCause, type RescueFinding } from './rescue.ts';

/** What is the matter with the board at one place: how it is found out, what was found last, what the page can do. */

const WORK = { what: 'Finding out what is the matter', stoppable: true };

export class BoardRescue {
  #found: { link: ByteLink; finding: RescueFinding } | undefined;

  /** @param known what the logbook knows of the coefficients of the board that is, or was, at this place */
  constructor(
    private readonly place: Pick<BenchPlace, 'lendLink' | 'tie'>,
    private readonly parts: { clock: Clock; random(): number },
    private readonly known: () => Promise<KnownCoefficients | undefined>,
  ) {}

  /** There is a link to examine, whether or not a board answers over it. */
  get isPossible(): boolean {
    return this.place.tie !== undefined;
  }

  /** What was found last over the link that this place has. */
  get finding(): RescueFinding | undefined {
    return this.#found?.link === this.place.tie?.link ? this.#found?.finding : undefined;
  }

  /** Examines whatever is at the other end of the link, and changes nothing that it keeps. */
  async run(): Promise<void> {
    const { clock, random } = this.parts;
    await this.place.lendLink(WORK, async (link, signal, show) => {
      this.#found = undefined;
      const known = await this.known();
      const finding = await examine(link, {
        clock,
        random: () => random(),
        signal,
        ...(known && { known }),
        onStep: (what) => show({ ...WORK, what }),
      });
      this.#found = { link, finding };
    });
  }
}

/**
 * The coefficients that a board should have by what is written of it; nothing where it was never seen with any. A
 * generation that is found on a board counts only if it is higher: its number goes up with every seal and every going
 * back, so one that is lower, or none, is a loss.
 */
export function knownCoefficients(entries: readonly Entry[]): KnownCoefficients | undefined {
  let known: KnownCoefficients | undefined;
  for (const entry of entries) {
    const { board: serial } = entry;
    if (entry.kind === 'coefficients saved') {
      const generation = entry.inForce?.generation ?? 0;
      if (generation > (known?.generation ?? 0)) known = { serial, generation };
    } else if (['sealed', 'reverted', 'restored'].includes(entry.kind) && 'generation' in entry) {
      known = { serial, generation: entry.generation }; // done from here, whatever was before
    }
  }
  return known;
}

/** What the page can do about what was found, for a board that is linked. */
const CURES: Partial<Record<RescueCause, readonly Intention[]>> = {
  coefficients_lost: ['write', 'revert', 'begin'],
  no_coefficients: ['begin'],
};

/** What the page can do next about what was found: of what it offers now, that which may help. */
export function rescueOffers({ cause }: RescueFinding, state: PlaceState): readonly Offer[] {
  if (state.link.state === 'none') return [{ label: 'Link again', does: 'link' }];
  const { main, others, waysOut } = nextStep(state);
  const cures: readonly Intention[] =
    state.link.state === 'linked' ? (CURES[cause] ?? []) : ['link', 'choose'];
  return [...(main ? [main] : []), ...others, ...waysOut].filter(({ does }) =>
    cures.includes(does),
  );
}
