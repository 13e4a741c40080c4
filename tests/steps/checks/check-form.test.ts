import { expect, it } from 'vitest';
import { emptyForm, madeUpForm, termsOf } from '../../../src/steps/checks/check-form.ts';
import { CHECK_NAMES, type CheckKind } from '../../../src/steps/checks/check-names.ts';

const KINDS = Object.keys(CHECK_NAMES) as CheckKind[];

it('offers something to try with every kind', () => {
  for (const kind of KINDS) expect(termsOf(madeUpForm(kind))).toMatchObject({ ok: true });
});

it('reads decimal commas, minus signs as they are printed, and names of several words', () => {
  const form = {
    ...emptyForm('known bearings'),
    north: 'grid' as const,
    declination: '−2,5',
    declinationError: '0.4',
    convergence: '1.2',
    bearings: '131,5 the old mast\n\n7\n',
  };
  expect(termsOf(form)).toMatchObject({
    ok: true,
    terms: {
      declination: -2.5,
      convergence: 1.2,
      marks: [
        { mark: 'the old mast', bearing: 131.5 },
        { mark: 'mark 2', bearing: 7 },
      ],
    },
  });
});

it('asks for a declination where bearings are from true north, and for a convergence where from the grid', () => {
  const problems = (north: 'magnetic' | 'true' | 'grid') => {
    const read = termsOf({ ...emptyForm('known bearings'), north, bearings: '10 spire' });
    return read.ok ? [] : read.problems;
  };
  expect(problems('magnetic')).toEqual([]);
  expect(problems('true')).toEqual([
    'Declination must be a number from -180 to 180°.',
    'The standard error of declination must be a number from 0 to 45°.',
  ]);
  expect(problems('grid')).toHaveLength(3);
});

it.each([
  ['', '3 to 50 lengths'],
  ['10 10', '3 to 50 lengths'],
  ['10 x 10', 'number of metres'],
  ['10 0 10', 'number of metres'],
  ['50 10 10', 'longer than all others'],
])('refuses the loop “%s”', (lengths, says) => {
  const read = termsOf({ ...emptyForm('loop'), lengths });
  expect(read.ok ? '' : read.problems.join()).toContain(says);
});

it('wants two readings of an aim at least where their scatter is all that tells an interval', () => {
  for (const kind of ['rolls', 'fore and back', 'known bearings'] as const) {
    expect(termsOf({ ...madeUpForm(kind), each: '1' })).toMatchObject({ ok: false });
    expect(termsOf({ ...madeUpForm(kind), each: '2.5' })).toMatchObject({ ok: false });
  }
});

it('cuts no character of a long name in two, which no logbook could be read with again', () => {
  const long = `${'a'.repeat(199)}\u{1F5FB}`;
  const rolls = termsOf({ ...emptyForm('rolls'), mark: long });
  const known = termsOf({ ...emptyForm('known bearings'), bearings: `10 ${long}` });
  const names = [rolls, known].flatMap((read) => {
    if (!read.ok) return [];
    if (read.terms.check === 'rolls') return [read.terms.mark];
    return read.terms.check === 'known bearings' ? read.terms.marks.map(({ mark }) => mark) : [];
  });
  expect(names.map((name) => name.isWellFormed())).toEqual([true, true]);
});

it('says where no bearing stands', () => {
  const read = termsOf({ ...emptyForm('known bearings'), bearings: '10 spire\nmast 20\n400 moon' });
  expect(read.ok ? [] : read.problems).toEqual([
    'Line 2: a bearing from 0 to 360° must stand first.',
    'Line 3: a bearing from 0 to 360° must stand first.',
  ]);
});

it('reads a loop that is walked one way, with the board measuring its lengths', () => {
  const form = { ...madeUpForm('loop'), bothWays: false, ranged: true, lengthsTo: 'not asked' };
  expect(termsOf(form)).toEqual({
    ok: true,
    terms: {
      ...{ check: 'loop', lengths: [12, 9, 15, 8, 11], lengthsTo: 0, heldTo: 0.01, each: 2 },
      ...{ ways: 'fore', ranged: true },
    },
  });
  const { terms } = termsOf(madeUpForm('loop')) as { terms: object };
  expect(terms).not.toHaveProperty('ways');
});

it('takes what a tape is off in 10 m as parts in a million', () => {
  expect(termsOf({ ...madeUpForm('range'), tapeTo: '1,5' })).toMatchObject({
    terms: { tapeTo: 150, lengthsTo: 0.002, limit: 0.01, from: 'the back of the housing' },
  });
});

it.each([
  [{ lengths: '9 10 11' }, 'twice the shortest'],
  [{ lengths: '5 10' }, '3 to 50 lengths'],
  [{ lengths: '5 10 1200' }, '999 m is the longest'],
  [{ limit: '0' }, 'What a range may be off by'],
  [{ each: '1' }, 'number of readings'],
])('refuses a range check with %o', (change, says) => {
  const read = termsOf({ ...madeUpForm('range'), ...change });
  expect(read.ok ? '' : read.problems.join()).toContain(says);
});

it.each([
  [{ far: '3' }, 'twice as far away'],
  [{ near: 'two' }, 'How far the nearer mark is'],
  [{ farLanded: '1 2\n3 4\n5 6' }, 'At the farther mark four lines'],
  [{ nearLanded: '1 2\n3 4\n5 6\n7' }, 'At the nearer mark four lines'],
  [{ nearLanded: '1 2\n3 4\n5 6\n7 8 9' }, 'At the nearer mark four lines'],
])('refuses a check of the beam with %o', (change, says) => {
  const read = termsOf({ ...madeUpForm('beam'), ...change });
  expect(read.ok ? '' : read.problems.join()).toContain(says);
});
