import type { Told } from '../steps/place-state.ts';

/** How readings are told to one who does not look: short sounds, vibration, a voice. What a browser lacks is not offered. */

type Kind = Told['kind'];

/** A note: its pitch in hertz, when it begins and how long it lasts, seconds. */
interface Note {
  hertz: number;
  at: number;
  lasts: number;
}

/**
 * One short high note for a reading; the same and a low one for one in doubt; two low ones where there is none; three
 * rising for a sighting, five up and down for the end. Told apart by how many they are as well as by pitch.
 */
const NOTES: Record<Kind, readonly Note[]> = {
  taken: [{ hertz: 880, at: 0, lasts: 0.12 }],
  doubted: [
    { hertz: 880, at: 0, lasts: 0.12 },
    { hertz: 220, at: 0.2, lasts: 0.3 },
  ],
  refused: [
    { hertz: 185, at: 0, lasts: 0.22 },
    { hertz: 185, at: 0.3, lasts: 0.22 },
  ],
  whole: [523, 659, 784].map((hertz, i) => ({ hertz, at: 0.13 * i, lasts: 0.12 })),
  done: [523, 659, 784, 659, 1047].map((hertz, i) => ({ hertz, at: 0.15 * i, lasts: 0.14 })),
};

/** On and off, milliseconds. */
const SHAKES: Record<Kind, number[]> = {
  taken: [60],
  doubted: [60, 80, 300],
  refused: [250, 100, 250],
  whole: [60, 60, 60, 60, 60],
  done: [60, 60, 60, 60, 60, 60, 500],
};

const LOUDNESS = 0.25;
/** How long the tone of one board of several lasts, seconds. */
const OWN = 0.22;

export class ReadingSignals {
  #sound: AudioContext | undefined;
  /** The browser has let it sound once; it then may begin again by itself. */
  #isAllowed = false;
  /** How many signals are to be heard, or are. */
  #due = 0;

  /** What this browser can do. */
  static readonly can = {
    sounds: 'AudioContext' in globalThis,
    vibration: typeof navigator.vibrate === 'function',
    speech: 'speechSynthesis' in globalThis,
  };

  /** Call it in a gesture: without one no browser lets a page sound. */
  wake(): void {
    if (!ReadingSignals.can.sounds || this.#isAllowed) return;
    this.#sound ??= new AudioContext();
    void this.#with(this.#sound, async () => {});
  }

  /** A gesture is wanted before anything can be heard. */
  get isMute(): boolean {
    return ReadingSignals.can.sounds && !this.#isAllowed;
  }

  /**
   * Resolves after the last note, or at once where nothing can be heard.
   *
   * @param tone of the one board of several that it is of, hertz: it stands for a reading, and before whatever else is told
   */
  async sound(kind: Kind, tone?: number): Promise<void> {
    const sound = this.#sound;
    if (!sound || !this.#isAllowed) return;
    const shape = kind === 'refused' ? 'square' : 'sine';
    // taken from it by a call, or gone with the device
    if (sound.state === 'interrupted' || sound.state === 'closed') this.#isAllowed = false;
    else await this.#with(sound, () => play(sound, notesOf(kind, tone), shape));
  }

  /** Has it run only while something is to be heard: one that runs in silence keeps the device awake. */
  async #with(sound: AudioContext, task: () => Promise<void>): Promise<void> {
    this.#due++;
    try {
      await sound.resume();
      this.#isAllowed = this.#sound === sound;
      await task();
    } catch {
      this.#isAllowed = false; // it is shown that a gesture is wanted, which tries anew
      if (this.#sound === sound && sound.state === 'closed') this.#sound = undefined;
    }
    this.#due--;
    if (this.#due > 0 || sound.state !== 'running') return;
    await sound.suspend().catch(() => {}); // it was closed meanwhile, and is as silent
  }

  shake(kind: Kind): void {
    if (ReadingSignals.can.vibration) navigator.vibrate(SHAKES[kind]);
  }

  /** Says it in place of whatever is being said. */
  say(words: string): void {
    if (!ReadingSignals.can.speech) return;
    speechSynthesis.cancel();
    const said = new SpeechSynthesisUtterance(words);
    said.lang = 'en-GB';
    speechSynthesis.speak(said);
  }

  end(): void {
    this.#sound?.close().catch(() => {}); // it is closed
    this.#sound = undefined;
    this.#isAllowed = false;
    if (ReadingSignals.can.speech) speechSynthesis.cancel();
  }
}

function notesOf(kind: Kind, tone: number | undefined): readonly Note[] {
  if (tone === undefined) return NOTES[kind];
  const own = { hertz: tone, at: 0, lasts: OWN };
  if (kind === 'taken') return [own];
  return [own, ...NOTES[kind].map((note) => ({ ...note, at: note.at + OWN + 0.08 }))];
}

/** Resolves after the last note. */
function play(sound: AudioContext, played: readonly Note[], shape: OscillatorType): Promise<void> {
  const notes = played.map(({ hertz, at, lasts }) => {
    const [voice, loudness] = [sound.createOscillator(), sound.createGain()];
    const begin = sound.currentTime + at;
    voice.frequency.value = hertz;
    voice.type = shape;
    // from silence and back to it: a wave cut off cracks
    loudness.gain.setValueAtTime(0, begin);
    loudness.gain.linearRampToValueAtTime(LOUDNESS, begin + 0.01);
    loudness.gain.setValueAtTime(LOUDNESS, begin + lasts - 0.03);
    loudness.gain.linearRampToValueAtTime(0, begin + lasts);
    voice.connect(loudness).connect(sound.destination);
    voice.start(begin);
    voice.stop(begin + lasts);
    return new Promise<void>((resolve) => voice.addEventListener('ended', () => resolve()));
  });
  return Promise.all(notes).then(() => {});
}
