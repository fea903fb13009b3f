/** What the proof of the table runs, bundled with every check of the unit rewritten. */
export { Lab } from '../../src/rehearsal/forgeries/lab.ts';
export { carryOut } from '../../src/rehearsal/forgeries/rehearse.ts';
export { judgeGenuine } from '../../src/rehearsal/forgeries/subject.ts';
export { FORGERIES } from '../../src/rehearsal/forgeries/table.ts';
export { REFUSALS } from '../../src/unit/index.ts';
export { SUBJECTS } from './subjects.ts';
