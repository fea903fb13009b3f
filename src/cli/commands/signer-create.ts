import { keyJson } from '../../answers/index.ts';
import { createSigner, hssCautions, SIGNER_DAYS, signerScope } from '../../authority/index.ts';
import { fromHex } from '../../bytes/index.ts';
import { fingerprintText, type SignerPurpose } from '../../x509/index.ts';
import { EXIT } from '../exit.ts';
import { hssChoiceOf, keyTypeOf } from '../key-type.ts';
import { attendanceOf, openSession, placeFor } from '../session.ts';
import { showCertificate, showKey } from '../show-key.ts';
import type { Call } from '../spec.ts';

/** Makes a signer and has it certified, or writes a request for the offline machine. */
export async function run(call: Call): Promise<number> {
  const session = await openSession(call);
  const { workspace, secrets } = session;
  const name = call.args[0]!;
  const module = call.text('module');
  const hss = hssChoiceOf(call);
  const made = await createSigner(
    workspace,
    {
      name,
      type: keyTypeOf(call),
      hss,
      place: placeFor(call, workspace)(name),
      root: call.text('root') ?? 'root',
      ...(await signerScope(workspace, call.texts('class'))),
      days: call.count('days') ?? SIGNER_DAYS,
      generation: call.count('generation') ?? 1,
      role: call.text('role'),
      signs: call.text('purpose') as SignerPurpose | undefined,
      ...attendanceOf(call),
    },
    secrets,
    { secrets, ...(module !== undefined && { module }) },
  );
  showKey(call.out, workspace, made.description);
  if (made.certificate) showCertificate(call.out, made.certificate);
  if (made.requestFile) {
    call.out.line(`carry ${made.requestFile} to the offline machine and read the fingerprint aloud there:`);
    call.out.line(
      `  fieldseal authority sign REQUEST --dir DIR --out ${name}.pem --fingerprint "${fingerprintText(fromHex(made.description.spki!))}"`,
    );
    call.out.line(`then here: fieldseal signer accept ${name} ${name}.pem`);
  }
  call.out.fact('ceremony record', made.ceremony.path);
  const cautions = hss ? hssCautions(hss.shape, made.description.token ? 'token' : 'file') : [];
  for (const caution of cautions) call.out.caution(caution);
  call.out.result({
    format: 'fieldseal.key-made/1',
    ...keyJson(made.description, made.certificate, made.ceremony),
    request_file: made.requestFile ?? null,
    cautions,
  });
  return EXIT.done;
}
