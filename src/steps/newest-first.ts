/**
 * Makes one thing after the other of what is wished for, the newest first: what was wished for while another was made, and is
 * not the newest any more, is never begun.
 */
export class NewestFirst<Wish> {
  #wish: Wish | undefined;
  #isMaking = false;

  /** @param make does not reject; what it makes may have been overtaken by a newer {@link wish} meanwhile */
  constructor(private readonly make: (wish: Wish) => Promise<void>) {}

  /** The newest that was wished for, whether it is made yet or not; absent where nothing is wanted. */
  get wish(): Wish | undefined {
    return this.#wish;
  }

  /** Wishes for another, or for nothing any more. */
  want(wish: Wish | undefined): void {
    this.#wish = wish;
    if (!this.#isMaking) void this.#makeAll();
  }

  async #makeAll(): Promise<void> {
    this.#isMaking = true;
    let made: Wish | undefined;
    while (this.#wish !== undefined && this.#wish !== made) {
      made = this.#wish;
      await this.make(made);
    }
    this.#isMaking = false;
  }
}
