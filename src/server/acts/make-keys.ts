import { createCohortKey, createRoot } from '../../authority/index.ts';
import { readClass, type Workspace } from '../../workspace/index.ts';
import { act, type DeskAct, IN_THE_LEDGER } from './act.ts';

/** Another spare root: `fieldseal root create --spare`. `leaked`: the root that it is there for. */
export function makeSpare(workspace: Workspace, leaked: string): DeskAct {
  return act({
    says: 'Make the spare root',
    consequences: [
      'Only units that are provisioned from now on hold it; those in the field never learn of it.',
      'It is worth as much as the root in use: keep it elsewhere, with other people, and never where releases are sealed.',
      `The ceremony record names who did it. ${IN_THE_LEDGER}`,
    ],
    confirm: leaked,
    right: 'certify',
    makes: {
      named: 'the new spare root',
      custodies: workspace.kind === 'production' ? ['token'] : ['file', 'token'],
    },
    perform: async ({ typed, who }) => {
      const name = typed.make!.name;
      const place = typed.place(workspace, name);
      await createRoot(
        workspace,
        { name, spare: true, type: 'p256', place, ...typed.attendance(who) },
        typed.key(workspace),
      );
    },
  });
}

/** A new cohort's key: `fieldseal cohort-key create`. */
export function makeCohortKey(workspace: Workspace, className: string): DeskAct {
  return act({
    says: 'Make the key of the cohort',
    consequences: [
      `Units of ${className} get it by service only: none in the field learns of it from afar.`,
      'Every unit of the cohort shares it, and whoever reads it out of one can forge for all of them: keep the cohort small.',
      `The ceremony record names who did it. ${IN_THE_LEDGER}`,
    ],
    confirm: className,
    makes: {
      named: 'the new cohort',
      custodies: workspace.kind === 'production' ? ['token', 'file'] : ['file', 'token'],
    },
    perform: async ({ typed, who }) => {
      await createCohortKey(
        workspace,
        await readClass(workspace, className),
        typed.make!.name,
        (name) => typed.place(workspace, name),
        typed.attendance(who),
        typed.key(workspace),
      );
    },
  });
}
