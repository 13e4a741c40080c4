import type { HelpTopic } from './next-step.ts';

/** Help for each step, in plain words: what to do, and why. For whoever has never calibrated anything. */

export interface HelpPoint {
  /** What to do, or what a word means: one sentence. */
  say: string;
  /** The reason. */
  why: string;
}

export interface Help {
  /** What it is about, as the words to tap. */
  title: string;
  points: readonly HelpPoint[];
}

/**
 * What to have ready before the first reading. Common practice in the trade, with no published source; a mark missed by
 * a distance d, seen from a distance D, is off by atan(d/D).
 */
const PREPARE: readonly HelpPoint[] = [
  {
    say: 'Find a clean place, well away from buildings, vehicles, fences, power lines and steel.',
    why: 'Iron bends the field. The fit would take the bend for the board’s own fault and correct for it everywhere.',
  },
  {
    say: 'Have a stand without iron: wood, plastic, brass or aluminium.',
    why: 'A board that rests does not tremble, and screws, hinges and tripods are often of steel.',
  },
  {
    say: 'Choose small marks, some metres away, all round and above and below.',
    why: 'A mark missed by 1 mm is 0.02° off from 3 m away, and 0.06° from 1 m.',
  },
  {
    say: 'Take off watch, keys, knife, belt buckle, headlamp and phone, and lay them well away.',
    why: 'They come and go with your hand, so no calibration can correct for them.',
  },
  {
    say: 'Fit the battery and close the housing that it will be used with, and let it come to the temperature of the place.',
    why: 'Both carry iron, and sensors change with warmth: a calibration holds only for what it was made with.',
  },
];

export const HELP: Record<HelpTopic, Help> = {
  Link: {
    title: 'Help: which one to pick',
    points: [
      {
        say: 'No board at hand, or the first time here? Link the simulated board.',
        why: 'It goes through the very same steps as a real one, and nothing can come to harm.',
      },
      {
        say: 'On a cable: plug it in and switch it on first, then press the button and pick it in the browser’s list.',
        why: 'The browser shows this page no board until you have picked it.',
      },
      {
        say: 'Over Bluetooth: switch the board on near by, and see that nothing else is linked to it.',
        why: 'Most boards talk to one program at a time.',
      },
      {
        say: 'Linking changes nothing on the board.',
        why: 'It is read, and what is on it is saved in the logbook, before anything can be changed.',
      },
    ],
  },
  Look: { title: 'Help: what to prepare', points: PREPARE },
  Take: {
    title: 'Help: what is being taken',
    points: [
      {
        say: 'A reading is one look of both sensors while the board is still.',
        why: 'A simulated board is held by its own hand, which aims for you; a real one you hold yourself.',
      },
      {
        say: 'A sighting is four readings along one line, each a quarter turn further about the sight.',
        why: 'The line is the same for all four, so what differs among them is the sensors’ fault.',
      },
      {
        say: 'The plan has 14 sightings: the six faces and eight corners of a cube (common practice).',
        why: 'A fault along a direction that was never faced is never seen.',
      },
      {
        say: 'Take one, then the rest of its sighting, then all the others. You can stop at any moment.',
        why: 'Each reading is in the logbook before it is on the screen: nothing that was taken is lost.',
      },
    ],
  },
  Hold: {
    title: 'Help: how to hold it',
    points: [
      {
        say: 'Stand clear of iron and steel, vehicles, fences and power lines; put phone, watch, keys, knife and batteries well away (common practice).',
        why: 'What moves with you bends the field differently at every reading.',
      },
      {
        say: 'Aim at a mark some way off, the same one for every roll of a sighting, and rest the instrument against something firm.',
        why: '1 mm beside the mark is 0.02° from 3 m away. The mark need not lie exactly where the heading says: within ten degrees is near enough, as long as it is the same one.',
      },
      {
        say: 'Upright is with the board’s top to the sky. A quarter right turns its top to the right, as you see it from behind, aiming.',
        why: 'The four rolls show what turns with the board and what does not.',
      },
      {
        say: 'Aimed straight up or straight down, upright is with the top to the south aiming up, and to the north aiming down. Quarters turn from there.',
        why: 'There is no sky to go by there.',
      },
      {
        say: 'A pointer laser must never meet an eye, yours or another’s.',
        why: 'A mirror or a wet rock sends it back.',
      },
    ],
  },
  Judge: {
    title: 'Help: how to read the judgement',
    points: [
      {
        say: 'Fit finds the numbers that explain all readings best. It changes nothing on the board.',
        why: 'You can fit as often as you like, and with readings left out.',
      },
      {
        say: 'Read the verdict first, and see what it is held against.',
        why: 'Good enough for one survey is not for another: choose there what yours asks for.',
      },
      {
        say: 'A figure with ± is an interval: 19 times of 20 the true error lies within it.',
        why: 'Nobody knows the error itself; a simulated board alone can show it, at the end.',
      },
      {
        say: 'Not good enough? Do what the advice says first: take again, set aside, or take more.',
        why: 'It comes from what stands out in the figures. A reading set aside stays in the logbook and can be taken back.',
      },
      {
        say: 'Good figures are no proof yet.',
        why: 'They are of readings that the fit has seen. What is the same in all of them, such as iron that turns with the board’s carrier, may not show.',
      },
    ],
  },
  Seal: {
    title: 'Help: what writing does',
    points: [
      {
        say: 'The numbers are sent, checked by the board, and sealed in one step.',
        why: 'Whenever power or link fails, the board runs the old set or the new one, never a mixture.',
      },
      {
        say: 'The set before stays on the board: you can go back to it.',
        why: 'A board must never be left worse than it was.',
      },
      {
        say: 'Wait until it says “Read back and compared”.',
        why: 'Only then is it known what the board holds, bit by bit.',
      },
    ],
  },
  Prove: {
    title: 'Help: why prove it',
    points: [
      {
        say: 'Take fresh readings, with the same care as before; another clean place is even better.',
        why: 'A fit always looks good on the readings it was made from. These it has never seen.',
      },
      {
        say: 'The board’s own angles are held against ours.',
        why: 'It shows that the board does with the numbers what we think it does.',
      },
      {
        say: 'If it does not pass, do not survey with it. Take the proof again elsewhere; if it fails again, go back or begin again.',
        why: 'Once may be a disturbance; twice is the calibration.',
      },
    ],
  },
  Done: {
    title: 'Help: how long it holds',
    points: [
      {
        say: 'It holds for this battery, this housing and about this temperature.',
        why: 'Batteries and housings carry iron, and sensors change with warmth.',
      },
      {
        say: 'Before each survey sight one leg forth and back.',
        why: 'Half a turn should lie between the two azimuths, and inclinations should differ in sign alone. It takes a minute, and shows most of what goes wrong.',
      },
      {
        say: 'Take the logbook out as a file now and then.',
        why: 'A browser can lose what it keeps; a file of yours it cannot.',
      },
      {
        say: 'Where an error can hurt someone, never rely on a magnetic heading alone.',
        why: 'Local rules and qualified surveyors decide what a survey needs.',
      },
    ],
  },
};
