import { expect, it } from 'vitest';
import type { CourseNote } from '../../../src/records/course-notes.ts';
import { courseOf, type ReadNote } from '../../../src/steps/course/course-state.ts';
import { nextInCourse } from '../../../src/steps/course/next-in-course.ts';
import { hexId, shotsOf, SQUARE } from './made-up-shots.ts';

/** What is said of a course of these legs, on which one instrument shot so many of the places of the square. */
function wordsOn(legs: typeof SQUARE.legs, shots: number): string {
  const bodies: CourseNote[] = [
    { kind: 'course laid out', ...SQUARE, legs },
    { kind: 'outing begun', outing: hexId(0xa), day: '2031-05-12' },
    ...shotsOf(SQUARE, ['one'])
      .slice(0, shots)
      .map(({ id: _, ...shot }): CourseNote => ({ kind: 'shot', ...shot })),
  ];
  const notes = bodies.map((body, i): ReadNote => ({ id: hexId(i), time: `2031-05-12T12:00:0${i}Z`, body })); // prettier-ignore
  const course = courseOf(notes)!;
  return nextInCourse({
    course,
    outing: course.outings[0],
    today: '2031-05-12',
    shooter: undefined,
    nextPlace: undefined,
    nameOf: () => 'one',
    boards: [],
  }).words;
}

it('counts shots in words, one as one', () => {
  expect(wordsOn(SQUARE.legs, 1)).toContain('One shot of one instrument counts.');
  expect(wordsOn(SQUARE.legs, 5)).toContain('5 shots of one instrument count.');
});

it('says how many shots do not count because their leg is gone', () => {
  const words = wordsOn(SQUARE.legs.slice(1), 5);
  expect(words).toContain('One shot of one instrument counts. 4 shots do not count: the course has no legs'); // prettier-ignore
  expect(wordsOn(SQUARE.legs.slice(1), 4)).toContain('4 shots do not count');
  expect(wordsOn(SQUARE.legs, 5)).not.toContain('do not count');
});
