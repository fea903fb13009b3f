import {
  type DeviceClass,
  foreseeNumber,
  requireHeld,
  spendNumber,
  type TakenNumber,
  type TakeOptions,
  takeNumber,
  type Workspace,
} from '../workspace/index.ts';
import type { Approved } from './approval/seal-order.ts';
import { requireStanding } from './approval/standing.ts';

/** Where the number of a release comes from. */
export interface NumberSource {
  /** Refuses what `take` would refuse; changes nothing. */
  foresee(): void;
  /** From here on the number is used, whatever happens. */
  take(): TakenNumber;
}

/** The next number of the class's counter, or the one that is asked for. */
export function nextNumber(
  workspace: Workspace,
  deviceClass: DeviceClass,
  options: TakeOptions,
): NumberSource {
  return {
    foresee: () => void foreseeNumber(workspace, deviceClass, options),
    take: () => takeNumber(workspace, deviceClass, options),
  };
}

/** The number that a request took when it was made; it is used up once. */
export function approvedNumber(workspace: Workspace, { opened }: Approved): NumberSource {
  const { className, sequenceNumber: number, counter: lineage } = opened.frozen;
  return {
    foresee: () => requireHeld(workspace, className, lineage),
    take() {
      spendNumber(workspace, className, { number, lineage });
      requireStanding(workspace, opened, workspace.now());
      return { number, lineage, cautions: [] };
    },
  };
}
