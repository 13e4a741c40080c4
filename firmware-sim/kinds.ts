import type { SimulatorSettings } from '../src/protocol/simulator.ts';
import type { Build } from './board.ts';

/** Kinds of board that can be had ready-made: how each is built, and what its chips are like. */

export interface Kind {
  name: string;
  /** What sets it apart, in words. */
  words: string;
  build: Partial<Build>;
  settings: Partial<SimulatorSettings>;
}

export const KINDS: readonly Kind[] = [
  {
    name: 'plain',
    words: 'keeps 250 readings without power; a trigger; ordinary chips',
    build: {},
    settings: {},
  },
  {
    name: 'ring',
    words: 'keeps nothing without power: a ring of the latest 16 readings',
    build: { name: 'Ring of 16', keepsReadings: false, places: 16 },
    settings: {},
  },
  {
    name: 'coarse',
    words: 'cheap chips: five times the noise, and an accelerometer that bows',
    build: { name: 'Coarse chips' },
    settings: { accNoise: 5, magNoise: 1, curvature: 0.02 },
  },
  {
    name: 'bare',
    words:
      'no trigger, room for 20 readings, 20 bytes in one write, and it does not say how its chips sit',
    build: {
      name: 'Bare',
      hasTrigger: false,
      places: 20,
      chunk: 20,
      declaresMounting: false,
    },
    settings: { accMounting: '+y+x-z', magMounting: '-z+x-y' },
  },
  {
    name: 'unset',
    words: 'no settings to change',
    build: { name: 'No settings', hasSettings: false },
    settings: {},
  },
  {
    name: 'closed',
    words: 'takes no firmware over the link',
    build: { name: 'Closed', takesImages: false },
    settings: {},
  },
  {
    name: 'ranger',
    words: 'a range module beside all that an ordinary one has',
    build: { name: 'Ranger', hasRange: true },
    settings: {},
  },
  {
    name: 'least',
    words: 'a ring of 16 readings, and nothing else that a board may leave out',
    build: {
      name: '',
      keepsReadings: false,
      places: 16,
      declaresMounting: false,
      hasTrigger: false,
      hasLight: false,
      hasClock: false,
      hasSettings: false,
      takesImages: false,
    },
    settings: {},
  },
];

export const kindNamed = (name: string): Kind | undefined =>
  KINDS.find((kind) => kind.name === name);
