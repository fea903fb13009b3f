import { fromUtf8, toHex } from '../../bytes/index.ts';
import { sha256 } from '../../crypto/index.ts';
import { type Evidence, evidencePage, gatherEvidence } from '../../evidence/index.ts';
import { filesOn } from '../../workspace/index.ts';
import { EXIT } from '../exit.ts';
import { openSession, trialMark } from '../session.ts';
import type { Call } from '../spec.ts';

/** The evidence for a release, as one page. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const evidence = await gatherEvidence({
    workspace,
    release: call.args[0]!,
    envelope: call.text('envelope'),
    rehearsals: call.texts('rehearsal'),
    acceptance: call.texts('acceptance'),
  });
  const out = call.text('out');
  const page = out === undefined ? undefined : fromUtf8(evidencePage(evidence));
  if (out !== undefined && page) write(out, page, call.flag('force'));
  call.out.line(
    `evidence for ${evidence.release.class} ${evidence.release.version}, number ${evidence.release.sequence_number}${trialMark(workspace)}`,
  );
  show(call, evidence);
  if (page) call.out.fact('page', `${out}  sha-256 ${toHex(sha256(page))}`);
  call.out.result({ ...evidence });
  return EXIT.done;
}

function write(path: string, page: Uint8Array, force: boolean): void {
  const output = filesOn().beginOutput(path, { force });
  try {
    output.write(page);
    output.commit();
  } finally {
    output.abandon();
  }
}

function show(call: Call, evidence: Evidence): void {
  const { seals, approval, rehearsals, acceptance, ledger, support_until, requirements, rules } = evidence;
  const counted = (rows: readonly { cover: string }[]) =>
    ['shown', 'in part', 'not shown', 'by the product']
      .map((cover) => `${rows.filter((row) => row.cover === cover).length} ${cover}`)
      .join(', ');
  call.out.fact('sealed by', seals.map(({ name }) => name).join(', '));
  call.out.fact('approvals', approval ? `${approval.counted} of ${approval.needed}` : 'none');
  call.out.fact(
    'rehearsed',
    rehearsals.length === 0 ? 'not done' : rehearsals.map(({ outcome }) => outcome).join(', '),
  );
  call.out.fact(
    'acceptance',
    acceptance.length === 0 ? 'not done' : acceptance.map(({ outcome }) => outcome).join(', '),
  );
  call.out.fact('support period', support_until ?? 'not stated');
  call.out.fact('ledger', ledger.intact ? 'intact' : 'not intact');
  call.out.fact('RFC 9124', counted(requirements));
  call.out.fact('rules', counted(rules));
}
