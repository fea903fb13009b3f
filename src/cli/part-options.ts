import type { OptionSpec } from './spec.ts';

/** Options by which files of further components, and of what a manifest depends on, are given. */
export const PART_OPTIONS: readonly OptionSpec[] = [
  {
    name: 'component',
    value: 'name=file',
    about: 'the detached image of a further component, such as radio=radio.bin',
    repeat: true,
  },
  {
    name: 'dependency',
    value: 'file',
    about: 'the detached envelope of a manifest that this one depends on',
    repeat: true,
  },
];
