import type { CheckKind } from '../../records/entries.ts';

/** What is said of checks in the field before one is begun, and what their intervals are. */

/** What is to be known of a kind of check before it is begun. */
export interface CheckAbout {
  what: string;
  sees: string;
  /** A sentence each. */
  blindTo: readonly string[];
}

const MEETS = 'It holds for this place and this battery, with what you carried and wore.';

export const ABOUT: Readonly<Record<CheckKind, CheckAbout>> = {
  rolls: {
    what: 'Aim at one mark some way off, upright, a quarter right, upside down and a quarter left, then once more round. Aim anew for each. A mark to the north or south shows most of what is wrong with azimuths; then try another about a quarter turn away.',
    sees: 'What turns with roll: offsets and gains across the sight, the sight out of line with the chips.',
    blindTo: [
      'What does not turn with roll stays unseen: iron along the sight, declination, iron in the hill.',
      'Offsets that happen to show nothing in this direction: a mark to the east or west hides most of what is wrong with azimuths.',
    ],
  },
  'fore and back': {
    what: 'Two marks, A and B, in sight of each other. Stand at A and aim at B, then stand at B and aim at A: several readings at each, aimed anew every time. Hold the instrument as high over its mark as what you aim at is over the other, or say by how much not.',
    sees: 'An inclination that is off alike everywhere; an azimuth that is off one way in one direction and the other way in the other.',
    blindTo: [
      'An azimuth that is off alike in all directions: declination, or the sight set askew to the side.',
      'Whether the instrument is wrong or something magnetic stands at A or at B: both turn one of the two. A clean site tells them apart.',
    ],
  },
  'known bearings': {
    what: 'Aim at marks whose bearings are known from a map or a survey, from the point that they were taken from: several readings each, upright, aimed anew every time. Three marks or more, all round.',
    sees: 'What azimuths are off by alike everywhere, and in each direction.',
    blindTo: [
      'Whether the instrument or the declination is off, where bearings are not magnetic: they cannot be told apart. The model of the earth’s field does not know the rocks below.',
      'Inclination, and what turns with roll.',
    ],
  },
  'battery swap': {
    what: 'Two marks, A and B, about a quarter turn apart. Aim at each upright, a quarter right, upside down and a quarter left. Then put the board away here, change its battery, link it again, say that it is changed, and do the same from the same spot.',
    sees: 'What the new battery does to azimuths, as a change of hard iron: in each of the eight attitudes, and in the worst of all.',
    blindTo: [
      'What was wrong before and still is.',
      'A battery that is magnetic in another way once it is drained, or sits otherwise in its holder next time.',
    ],
  },
  loop: {
    what: 'Marks that lead round back to the first, with the lengths between them. At each leg aim fore from its beginning and, if you can, back from its end. Three legs or more, as unlike in direction as can be. What is left over is held against the tolerance, and against what the calibration’s own uncertainty, your aims and the lengths let expect.',
    sees: 'Errors that depend on direction: they do not cancel on the way round. Blunders, too.',
    blindTo: [
      'An azimuth that is off alike in all directions: the loop closes all the same, and only its plan as a whole is turned.',
      'An inclination that is off alike everywhere, where legs are sighted from both ends: it falls out of the position, and shows in the misclosure of inclination alone. Azimuth and inclination as such close only where there are back sights.',
      'Lengths that are all wrong by the same part: the plan grows or shrinks, and closes.',
    ],
  },
  range: {
    what: 'Three baselines or more, from short to as long as you use, each taped from one and the same point of the instrument straight along the aim to a flat, light target that the beam meets squarely. Hold that point over the tape’s nought, and take several readings of each, the tape pulled tight.',
    sees: 'What the range module adds to every length, and what it multiplies it by; both can be written to a board that has the settings for it.',
    blindTo: [
      'What depends on the target: dark, wet, shiny or slanting ones, edges, mist and strong sun.',
      'Lengths beyond the longest baseline and below the shortest, and a module that is not straight between them.',
      'An error of the tape as a whole, beyond what you say it is true to: it looks like scale. Temperature and pull change a tape, too.',
    ],
  },
  beam: {
    what: 'Two marks on a wall with millimetre paper around them, one two metres away, the other as far as you can still read the spot (in shade, ten metres or so). Rest the instrument, put the sight on the nearer mark, and let someone beside the wall write down where the beam lands: upright, a quarter right, upside down, a quarter left. The same at the farther mark. Right and up are always those of the paper, as you see it, however the instrument is turned. Fill that in here; then come eight readings or more of the farther mark: sighted in four rolls, and with the beam put on it in four rolls.',
    sees: 'How the beam stands to the sight, as an angle and as a distance at the instrument; which of the two the coefficients were made along; and what azimuth and inclination are off by along the other.',
    blindTo: [
      'What sight and beam have in common: if both were moved together, only the readings can show it, and a calibration does.',
      'Play: a beam that sits otherwise after a knock, a change of battery, or in the cold.',
    ],
  },
};

/** Said with every check. */
export const CHECK_CAUTIONS: readonly string[] = [
  MEETS,
  'A check says how this instrument did here. Whether it may be used for a survey is for local rules and qualified surveyors to decide.',
  'A pointer laser must never meet an eye, yours or another’s: take marks with nobody behind them, and nothing that mirrors.',
];

/** What is to be heeded before a beam is switched on; classes as IEC 60825-1 has them (its limits from memory). */
export const BEAM_CAUTIONS: readonly string[] = [
  'A beam must never meet an eye, straight or mirrored, and nobody looks at the spot through a telescope or lens. Keep everyone out of the line, also behind the marks; cover whatever mirrors; switch it on only while it is needed.',
  'Look at its label: by IEC 60825-1 a visible beam of class 2 gives no more than 1 mW, and counts on an eye that blinks in time; 3R, up to 5 mW, may harm before that; 3B and 4 always do. A beam without a label counts as one that harms.',
  'Who may use which class, and where, is for local rules and the person responsible for laser safety there.',
];

/** How signs count in a check of known bearings. */
export const BEARING_SIGNS =
  'Declination: magnetic north from true north, east positive; magnetic = true − declination. Convergence: grid north from true north, east positive; true = grid + convergence. A difference is what the instrument shows less what is known: take a positive one off its azimuths.';

/** What intervals of checks are. */
export const INTERVAL_WORDS =
  'Each figure has the interval that holds the truth in 95 of 100 cases, from how the readings of this check scatter and from the uncertainty of the calibration. Passed: all of every interval is within what is allowed. Not passed: all of one lies outside. Else it is not settled, and more readings, or better aimed ones, help.';
