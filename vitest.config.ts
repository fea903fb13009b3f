import { defineConfig } from 'vitest/config';

/** They end what hangs, and judge no speed: a machine ten times slower than those that this was written on keeps them. */
const LIMITS = { testTimeout: 600_000, hookTimeout: 600_000 };

export default defineConfig({
  test: {
    projects: [
      {
        test: {
          name: 'unit',
          include: ['test/**/*.test.ts'],
          exclude: ['test/e2e/**', 'test/token/**', 'test/device/**'],
          ...LIMITS,
        },
      },
      {
        test: {
          name: 'e2e',
          include: ['test/e2e/**/*.test.ts', 'test/token/**/*.test.ts'],
          globalSetup: ['test/e2e/build.ts'],
          ...LIMITS,
        },
      },
      {
        test: {
          name: 'device',
          include: ['test/device/**/*.test.ts'],
          globalSetup: ['test/e2e/build.ts', 'test/device/build.ts'],
          ...LIMITS,
        },
      },
    ],
    coverage: { provider: 'v8', include: ['src/**'], reporter: ['text-summary', 'json-summary'] },
  },
});
