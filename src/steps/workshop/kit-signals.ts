import { linkWords } from '../bench-words.ts';
import type { BoardHistory } from '../calibration-state.ts';
import type { PlaceState, Told } from '../place-state.ts';

/** What is told of a board among several by sound, each by a tone of its own; the words are shown beside it. */

/** Of a pentatonic scale, semitones from its first: no two tones that follow each other are nearer than a whole tone. */
const STEPS = [0, 2, 4, 7, 9] as const;
/** As many as lie where small loudspeakers sound and ears are sharp. */
const TONES = 20;
/** The lowest: the middle C of a piano at concert pitch, A being 440 Hz (ISO 16). */
const LOWEST = 440 * 2 ** (-9 / 12);

/** The tone of a kit, hertz, from its place among all, counted from 0: each is higher than the one before, as far as ears go. */
export function toneOf(index: number): number {
  const nth = index % TONES;
  const semitones = 12 * Math.floor(nth / STEPS.length) + STEPS[nth % STEPS.length]!;
  return LOWEST * 2 ** (semitones / 12);
}

/**
 * What there is to tell of a board whose state was another before; undefined where nothing is. Trouble comes before the
 * end, and both before a reading. Of a board that its simulated hand turns no reading is told: it needs nobody.
 */
export function signalOf(before: PlaceState, now: PlaceState): Told | undefined {
  const { trouble, link, history, told } = now;
  if (trouble && trouble !== before.trouble) return refused(trouble.heading);
  if (link.state === 'lost' && before.link.state === 'linked')
    return refused(linkWords(link).words);
  const proof = newProof(before.history, history);
  if (proof) return proof.passed ? PROVEN : refused('The proof did not pass');
  if (!told || told === before.told) return undefined;
  return told.kind === 'done' ? { ...told, kind: 'whole' } : told; // the end is when it is proven
}

const PROVEN: Told = { kind: 'done', words: 'Proven.' };

const refused = (words: string): Told => ({ kind: 'refused', words: `${words}.` });

/** Before each proof there is a time without one; a history read anew has the same proof in another object. */
function newProof({ calibration: before }: BoardHistory, { calibration: now }: BoardHistory) {
  return before?.id === now?.id && !before?.proof ? now?.proof : undefined;
}
