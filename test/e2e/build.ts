import { execFileSync } from 'node:child_process';

/** Builds the command once before the end-to-end suites. */
export function setup(): void {
  execFileSync('node', ['scripts/build.mjs'], { stdio: 'inherit' });
}
