import type { Reporter, TestModule } from 'vitest/node';

/**
 * Ends a test run with one plain line, `N passed, N failed, N skipped`, for scripts to read.
 * A test file that could not be loaded, and an error outside any test, count as failures: they ran nothing.
 */
export default class ClosingLine implements Reporter {
  onTestRunEnd(modules: readonly TestModule[], outsideErrors: readonly unknown[]): void {
    const count = { passed: 0, failed: outsideErrors.length, skipped: 0 };
    for (const module of modules) {
      count.failed += module.errors().length;
      for (const test of module.children.allTests()) {
        const state = test.result().state;
        if (state === 'passed' || state === 'skipped') count[state] += 1;
        else count.failed += 1;
      }
    }
    const skipped = count.skipped > 0 ? `, ${count.skipped} skipped` : '';
    console.log(`\n${count.passed} passed, ${count.failed} failed${skipped}`);
  }
}
