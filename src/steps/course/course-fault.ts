/** Why something was not done with a check course, in words that say what is safe and what to do next. */
export class CourseFault extends Error {
  override readonly name = 'CourseFault';
}
