// The refusals as the device kit names them: one C constant for each row of the unit's table.
import { REFUSALS, type RefusalCode, STEPS, stepOf } from '../../src/unit/index.ts';

/** The number of a refusal in C: its step, times 256, plus its place within the step, counted from 1. */
export function refusalNumber(code: RefusalCode): number {
  const { step } = REFUSALS.find((row) => row.code === code)!;
  const place = REFUSALS.filter((row) => row.step === step).findIndex((row) => row.code === code) + 1;
  return stepOf(step).number * 256 + place;
}

/** The header of the closed list. */
export function refusalHeader(): string {
  const sections = STEPS.map(({ number, name, asks }) => {
    const rows = REFUSALS.filter(({ step }) => step === name).map(
      ({ code, says }) => `/* ${says} */\n#define ${constantOf(code)} UINT32_C(${hex(refusalNumber(code))})`,
    );
    return [`/* Step ${number}, ${name}. ${asks} */`, ...rows, ''].join('\n');
  });
  return `/*
 * What a unit can say no with. Written from the refusal table in src/unit by \`npm run docs\`; never by hand. The step that a
 * refusal belongs to is in its upper byte.
 */
#ifndef FIELDSEAL_REFUSALS_H
#define FIELDSEAL_REFUSALS_H

#include <stdint.h>

${sections.join('\n')}
#endif
`;
}

function constantOf(code: string): string {
  return `FS_${code.toUpperCase().replaceAll('-', '_')}`;
}

function hex(value: number): string {
  return `0x${value.toString(16).padStart(4, '0')}`;
}
