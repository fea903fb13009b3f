import {
  ask,
  CLASS,
  type Forgery,
  fieldUnits,
  forge,
  nobodyLeftBehind,
  run,
  SERIALS,
  stepsFound,
  unitFile,
  VICTIM,
} from './field.ts';
import { ATTACKER, MAKER, type Stage } from './stage.ts';

const OPEN = { who: 'maker' } as const;

interface Workshop {
  /** Options of every signer, and of the class. */
  readonly signer?: string;
  readonly class?: string;
  /** Keys that the attacker does not get. */
  readonly safe: readonly string[];
}

function workshop(stage: Stage, { signer = '', class: more = '', safe }: Workshop): void {
  stage.prepare(`init ${MAKER} --vendor-domain hollinridge.example`, '.');
  stage.prepare(`class add ${CLASS} --model VC-2 --scheme asymmetric --core none --slot-size 64KiB${more}`);
  stage.prepare('root create');
  stage.prepare('root create --spare');
  stage.prepare(`signer create line-1 --class ${CLASS}${signer}`);
  stage.prepare(`signer create trust-1 --purpose trust --class ${CLASS}${signer}`);
  fieldUnits(stage);
  stage.files.copy(MAKER, ATTACKER);
  for (const key of safe) stage.files.forget(`${ATTACKER}/private/keys/${key}.pem`);
}

/** The victim takes the forgery: this is what the leak is worth. */
function struck(stage: Stage, envelope: string): void {
  ask(stage, 'a unit accepts the forgery: this is the exposure', '0001', envelope, 'done');
  run(stage, VICTIM, envelope, true, 'attacker');
  stage.move(`unit ${VICTIM} runs the attacker’s firmware`, `boot ${unitFile(VICTIM)}`, { who: 'attacker' });
}

function everyUnitTakes(stage: Stage, envelope: string): void {
  for (const serial of SERIALS)
    stage.move(`unit ${serial} takes the trust update`, `install ${envelope} --unit ${unitFile(serial)}`, {
      who: 'unit',
    });
}

function reseal(stage: Stage, signer: string): void {
  stage.files.image(`${MAKER}/next.bin`, 0x22);
  stage.move(
    'seals the good code again, by the new signer, above the number of the forgery',
    `seal next.bin --class ${CLASS} --version 1.1.0 --signer ${signer} --sequence 100 --out next.suit`,
    OPEN,
  );
  for (const serial of SERIALS) run(stage, serial, 'next.suit');
}

/** The key of a signer leaks. */
export function signerLeak(stage: Stage): void {
  workshop(stage, { safe: ['root', 'spare-root', 'trust-1'] });
  const [first, second] = forgeries(ATTACKER);
  forge(stage, first);
  answerSigner(stage, 'signer-leak', '', () => forge(stage, second));
}

/** Two forgeries by the leaked signer: one for before the answer, one for after. */
function forgeries(at: string): [Forgery, Forgery] {
  return [
    { name: 'forged.suit', options: ' --signer line-1 --sequence 50', at },
    { name: 'forged-2.suit', options: ' --signer line-1 --sequence 60', at },
  ];
}

/** The answer to a leaked signer. `again`: the attacker forges once more. */
function answerSigner(stage: Stage, kind: string, signer: string, again: () => void): void {
  struck(stage, 'forged.suit');
  stage.move('opens the incident', `incident open ${kind} --key line-1`, OPEN);
  stage.move('retires the signer here', 'signer retire line-1 --reason leaked', OPEN);
  stage.move('makes a new signer', `signer create line-2 --class ${CLASS} --generation 2${signer}`, OPEN);
  stage.move('makes the trust update', `trust-update make ${CLASS} --deny line-1 --out trust.suit`, OPEN);
  stage.move(
    'the leaked signer cannot make one',
    `trust-update make ${CLASS} --deny trust-1 --signer line-1 --out evil-trust.suit`,
    {
      who: 'attacker',
      at: ATTACKER,
      must: { refused: 'trust-signer-none' },
    },
  );
  everyUnitTakes(stage, 'trust.suit');
  again();
  for (const serial of SERIALS)
    ask(stage, 'the same key forges in vain', serial, 'forged-2.suit', { refused: 'signer-denied' });
  reseal(stage, 'line-2');
  stage.move('publishes the revocation list', 'revocation-list make --out hollinridge.crl', OPEN);
  nobodyLeftBehind(stage, '1.1.0');
  stepsFound(stage, ['retire', 'new-signer', 'trust-update', 'reseal', 'revoke']);
}

/**
 * The state of an HSS/LMS key is in doubt. A copy of the counter refuses to sign, here as everywhere; somebody on the machine
 * itself can still have signed, so what he made before the answer stands in for the forger.
 */
export function hssDoubt(stage: Stage): void {
  const signer = ' --algorithm hss-lms --parameters H5/W8';
  const profile = ' --profile suit-sha256-hsslms-a256kw-a256ctr';
  workshop(stage, { signer, class: profile, safe: ['root', 'spare-root', 'trust-1'] });
  stage.files.image(`${ATTACKER}/evil.bin`, 0x66);
  stage.move(
    'a copy of the key, restored elsewhere, refuses to sign: a leaf could be used twice',
    `seal evil.bin --class ${CLASS} --version 6.6.6 --signer line-1 --out copied.suit`,
    { who: 'attacker', at: ATTACKER, must: { refused: 'leaves-copied' } },
  );
  for (const forgery of forgeries(MAKER)) forge(stage, forgery);
  answerSigner(stage, 'hss-doubt', signer, () => {});
}

/** The root leaks: its holder certifies signers of his own, and tries to shut the spare root out. */
export function rootLeak(stage: Stage): void {
  workshop(stage, { safe: ['spare-root', 'line-1', 'trust-1'] });
  stage.prepare(`signer create evil --class ${CLASS} --generation 9`, ATTACKER);
  forge(stage, { name: 'forged.suit', options: ' --signer evil --sequence 50' });
  struck(stage, 'forged.suit');
  stage.move('opens the incident', 'incident open root-leak --key root', OPEN);
  stage.move(
    'has a trust signer below the spare root',
    `signer create trust-s --purpose trust --class ${CLASS} --root spare-root`,
    OPEN,
  );
  stage.move(
    'has a signer below the spare root',
    `signer create line-s --class ${CLASS} --root spare-root`,
    OPEN,
  );
  stage.prepare(`signer create evil-trust --purpose trust --class ${CLASS}`, ATTACKER);
  stage.move(
    'with the leaked root, shuts out every signer of the maker, and every generation below 9',
    `trust-update make ${CLASS} --deny line-1 --deny trust-1 --minimum-generation 9 --signer evil-trust --out ../${MAKER}/shut.suit`,
    { who: 'attacker', at: ATTACKER },
  );
  stage.move('one unit takes that too', `install shut.suit --unit ${unitFile('0002')}`, { who: 'attacker' });
  stage.move(
    'retires the root, signed below the spare one',
    `trust-update make ${CLASS} --retire-root root --signer trust-s --out trust.suit`,
    OPEN,
  );
  everyUnitTakes(stage, 'trust.suit');
  stage.move(
    'retires the root here: new units get the spare in its place',
    'root retire root --reason leaked',
    OPEN,
  );
  forge(stage, { name: 'forged-2.suit', options: ' --signer evil --sequence 60' });
  for (const serial of SERIALS)
    ask(stage, 'the leaked root forges in vain', serial, 'forged-2.suit', { refused: 'signer-not-anchored' });
  ask(stage, 'and its trust updates are over', '0001', 'shut.suit', { refused: 'signer-not-anchored' });
  reseal(stage, 'line-s');
  stage.move('makes another spare root for units to come', 'root create --spare --name spare-2', OPEN);
  nobodyLeftBehind(stage, '1.1.0');
  stepsFound(stage, ['trust-signer', 'new-signer', 'trust-update', 'retire', 'reseal', 'new-spare']);
}

/** A genuine release does harm: the old code goes out again under a new number. */
export function badRelease(stage: Stage): void {
  workshop(stage, { safe: [] });
  stage.files.image(`${MAKER}/bad.bin`, 0x33);
  stage.move(
    'seals a release that turns out to be bad',
    `seal bad.bin --class ${CLASS} --version 1.1.0 --out bad.suit`,
    OPEN,
  );
  for (const serial of ['0001', VICTIM]) run(stage, serial, 'bad.suit');
  stage.move('opens the incident', `incident open bad-release --class ${CLASS}`, OPEN);
  ask(stage, 'there is no way back: the old envelope is refused', VICTIM, 'first.suit', {
    refused: 'sequence-number-too-low',
  });
  stage.move(
    'seals the old code again, under a new number',
    `seal good.bin --class ${CLASS} --version 1.1.1 --out again.suit`,
    OPEN,
  );
  for (const serial of SERIALS) run(stage, serial, 'again.suit');
  nobodyLeftBehind(stage, '1.1.1');
  stepsFound(stage, ['reseal']);
}

/** A certificate ends: units with a clock refuse it at install, and go on running. */
export function certificateExpiry(stage: Stage): void {
  const later = ' --at 2099-01-01';
  workshop(stage, { class: ' --clock', safe: [] });
  stage.files.image(`${MAKER}/next.bin`, 0x22);
  stage.move(
    'seals by the old signer',
    `seal next.bin --class ${CLASS} --version 1.1.0 --signer line-1 --out late.suit`,
    OPEN,
  );
  ask(
    stage,
    'after its end units with a clock refuse it',
    '0001',
    'late.suit',
    { refused: 'signer-expired' },
    later,
  );
  stage.move('opens the incident', 'incident open certificate-expiry --key line-1', OPEN);
  stage.move(
    'makes the signer that follows',
    `signer create line-2 --class ${CLASS} --generation 2 --days 36500`,
    OPEN,
  );
  stage.move(
    'seals by the new signer',
    `seal next.bin --class ${CLASS} --version 1.1.1 --signer line-2 --out next.suit`,
    OPEN,
  );
  ask(stage, 'the same late date, the new signer', '0001', 'next.suit', 'done', later);
  for (const serial of SERIALS) run(stage, serial, 'next.suit');
  stage.move('retires the old signer', 'signer retire line-1 --reason superseded', OPEN);
  stage.move(
    'nothing is sealed with it by mistake',
    `seal good.bin --class ${CLASS} --version 1.2.0 --signer line-1 --out wrong.suit`,
    {
      must: { refused: 'signer-retired' },
    },
  );
  nobodyLeftBehind(stage, '1.1.1');
  stepsFound(stage, ['new-signer', 'reseal', 'retire']);
}
