import { defineConfig } from 'vitest/config';

export default defineConfig({
  test: {
    projects: [
      {
        test: {
          name: 'unit',
          include: ['test/**/*.test.ts'],
          exclude: ['test/e2e/**', 'test/token/**', 'test/device/**'],
          // Ends what hangs, also on a machine ten times slower than ours.
          testTimeout: 600_000,
          hookTimeout: 600_000,
        },
      },
      {
        test: {
          name: 'e2e',
          include: ['test/e2e/**/*.test.ts', 'test/token/**/*.test.ts'],
          globalSetup: ['test/e2e/build.ts'],
          testTimeout: 120_000,
          hookTimeout: 120_000,
        },
      },
      {
        test: {
          name: 'device',
          include: ['test/device/**/*.test.ts'],
          globalSetup: ['test/device/build.ts'],
          testTimeout: 600_000,
          hookTimeout: 600_000,
        },
      },
    ],
    coverage: { provider: 'v8', include: ['src/**'], reporter: ['text-summary', 'json-summary'] },
  },
});
