import { createSigner, hssCautions, SIGNER_DAYS, signerScope, USUAL_HSS } from '../../authority/index.ts';
import { parseHssShape } from '../../crypto/index.ts';
import type { Making } from '../../incident/index.ts';
import type { Workspace } from '../../workspace/index.ts';
import { PURPOSE_TEXT } from '../../x509/index.ts';
import { act, type DeskAct, IN_THE_LEDGER, type OpenedKey } from './act.ts';

type MakingSigner = Extract<Making, { what: 'signer' }>;

/** A new signer, certified by its root: `fieldseal signer create`. */
export function makeSigner(workspace: Workspace, making: MakingSigner, root: OpenedKey): DeskAct {
  const { purpose, classes, generation = 1, type } = making;
  const signs = purpose === 'release' ? 'releases' : PURPOSE_TEXT[purpose];
  const custodies = custodiesOf(workspace, type);
  const scope = classes.length > 0 ? classes.join(', ') : 'every class of the vendor';
  return act({
    says: 'Make the signer',
    consequences: [
      `A new key may sign ${signs} for ${scope}, generation ${generation}, for ${SIGNER_DAYS} days. Keep it where the old one was not.`,
      `${root.name} is opened for this one certificate. What opens it is used once, and neither kept nor written down.`,
      ...(type === 'hss-lms' ? hssCautions(usualShape(), custodies[0]!).map(sentence) : []),
      `The ceremony record names who did it. ${IN_THE_LEDGER}`,
    ],
    confirm: root.name,
    right: 'certify',
    root,
    makes: { named: 'the new signer', custodies },
    perform: async ({ typed, who, tell }) => {
      const name = typed.make!.name;
      const secrets = typed.root();
      await createSigner(
        workspace,
        {
          ...{ name, type, generation, root: root.name, signs: purpose },
          hss: type === 'hss-lms' ? usualHss(tell) : undefined,
          place: typed.place(workspace, name),
          ...(await signerScope(workspace, classes)),
          days: SIGNER_DAYS,
          ...typed.attendance(who),
        },
        typed.key(workspace),
        { secrets },
      );
    },
  });
}

/** In production a token comes first, and an HSS/LMS key goes nowhere else (NIST SP 800-208 section 8). */
function custodiesOf({ kind }: Workspace, type: MakingSigner['type']): ('file' | 'token')[] {
  if (kind === 'trial') return ['file', 'token'];
  return type === 'hss-lms' ? ['token'] : ['token', 'file'];
}

const usualShape = () => parseHssShape(USUAL_HSS)!;

function usualHss(tell: (doing: string, done: number, total: number) => void) {
  const progress = (done: number, total: number) => tell('growing a tree', done, total);
  return { shape: usualShape(), progress };
}

const sentence = (text: string) => `${text.charAt(0).toUpperCase()}${text.slice(1)}.`;
