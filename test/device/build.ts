/** Builds the device kit once for all its suites. */
import { make } from '../../scripts/device/runner.ts';
import { toolchainPresent } from './toolchain.ts';

export default function setup(): void {
  if (toolchainPresent) make('host', 'sanitized', 'cortex-m');
}
