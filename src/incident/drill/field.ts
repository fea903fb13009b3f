import { ATTACKER, MAKER, type Must, type Stage } from './stage.ts';

/** Units that a drill has in the field. */
export const SERIALS = ['0001', '0002', '0003'] as const;
/** The one that the attacker reaches first. */
export const VICTIM = '0003';
export const CLASS = 'vent';

export const unitFile = (serial: string) => `${serial}.unit`;

/** Provisions the units, and brings the first release on board of each. */
export function fieldUnits(stage: Stage, className = CLASS, options = ''): void {
  stage.files.image(`${MAKER}/good.bin`, 0x11);
  stage.prepare(`seal good.bin --class ${className} --version 1.0.0 --out first.suit`);
  for (const serial of SERIALS) {
    stage.prepare(`provision ${className} --serial ${serial} --out ${unitFile(serial)}${options}`);
    run(stage, serial, 'first.suit', true);
  }
}

/** Install, start, keep: what a unit does with a release that it takes. */
export function run(
  stage: Stage,
  serial: string,
  envelope: string,
  quiet = false,
  who: 'unit' | 'attacker' = 'unit',
): void {
  const file = unitFile(serial);
  const act = { who, quiet };
  stage.move(`unit ${serial} takes it`, `install ${envelope} --unit ${file}`, act);
  stage.move(`unit ${serial} starts it`, `boot ${file}`, { ...act, quiet: true });
  stage.move(`unit ${serial} keeps it`, `keep ${file}`, { ...act, quiet: true });
}

/** A forgery: an envelope of this name, with more options of sealing, for a class, made in the folder that the attacker works in. */
export interface Forgery {
  readonly name: string;
  readonly options: string;
  readonly className?: string;
  readonly at?: string;
}

/** The attacker has the key and its passphrase, and seals an image of his own with it. */
export function forge(stage: Stage, { name, options, className = CLASS, at = ATTACKER }: Forgery): void {
  stage.files.image(`${at}/evil.bin`, 0x66);
  stage.move(
    'forges a release with the leaked key',
    `seal evil.bin --class ${className} --version 6.6.6 --out ../${MAKER}/${name}${options}`,
    { who: 'attacker', at },
  );
}

/** What a unit says to an envelope; nothing is changed. */
export function ask(
  stage: Stage,
  what: string,
  serial: string,
  envelope: string,
  must: Must,
  more = '',
): void {
  stage.move(what, `check ${envelope} --unit ${unitFile(serial)}${more}`, { who: 'unit', must });
}

/** At the end every unit runs this version. */
export function nobodyLeftBehind(stage: Stage, version: string, serials: readonly string[] = SERIALS): void {
  for (const serial of serials) {
    const command = `boot ${unitFile(serial)}`;
    const { json } = stage.prepare(command);
    stage.proof(
      `unit ${serial} runs the genuine release`,
      `fieldseal ${command}`,
      version,
      String(json?.version ?? 'nothing'),
    );
  }
}

/** Every step that leaves a trace was found on the ledger. */
export function stepsFound(stage: Stage, wanted: readonly string[]): void {
  const { json } = stage.prepare('incident show 1');
  const steps = (json?.steps ?? []) as { id: string; state: string }[];
  const found = steps.filter(({ id, state }) => wanted.includes(id) && state === 'done').map(({ id }) => id);
  stage.proof(
    'the incident file has them checked off',
    'fieldseal incident show 1',
    wanted.toSorted().join(', '),
    found.toSorted().join(', '),
  );
}
