import { ask, forge, nobodyLeftBehind, run, unitFile } from './field.ts';
import { ATTACKER, MAKER, type Stage } from './stage.ts';

const DOSING = 'dosing';

function workshop(stage: Stage): void {
  stage.prepare(`init ${MAKER} --vendor-domain hollinridge.example`, '.');
  stage.prepare(`class add ${DOSING} --model DC-1 --scheme symmetric --core none --slot-size 64KiB`);
  stage.files.image(`${MAKER}/good.bin`, 0x11);
}

function field(stage: Stage, serial: string, envelope: string, options = '', className = DOSING): void {
  stage.prepare(`provision ${className} --serial ${serial} --out ${unitFile(serial)}${options}`);
  run(stage, serial, envelope, true);
}

/** The class key leaks: nothing in the field repairs it, and service does, unit by unit. */
export function classKeyLeak(stage: Stage): void {
  workshop(stage);
  stage.prepare(`class-key create ${DOSING}`);
  stage.prepare(`seal good.bin --class ${DOSING} --version 1.0.0 --out first.suit`);
  for (const serial of ['0001', '0002']) field(stage, serial, 'first.suit');
  stage.files.copy(MAKER, ATTACKER);
  forge(stage, { name: 'forged.suit', options: ' --sequence 50', className: DOSING });
  for (const serial of ['0001', '0002'])
    ask(stage, 'a unit accepts the forgery: so does every unit of the class', serial, 'forged.suit', 'done');
  stage.move('opens the incident', `incident open class-key-leak --key ${DOSING}`);
  stage.move(
    'there is no trust update for a shared key',
    `trust-update make ${DOSING} --deny ${'ab'.repeat(32)} --out trust.suit`,
    {
      must: { refused: 'trust-not-taken' },
    },
  );
  stage.move(
    'the units become an asymmetric class',
    'class add dosing-2 --model DC-2 --scheme asymmetric --core none --slot-size 64KiB',
  );
  stage.prepare('root create');
  stage.prepare('signer create line-1 --class dosing-2');
  stage.prepare('seal good.bin --class dosing-2 --version 2.0.0 --out next.suit');
  stage.move(
    'unit 0003 in place of 0001: served, and provisioned anew',
    `provision dosing-2 --serial 0003 --out ${unitFile('0003')}`,
  );
  run(stage, '0003', 'next.suit');
  ask(stage, 'the leaked key forges in vain there', '0003', 'forged.suit', { refused: 'scheme-wrong' });
  ask(
    stage,
    'and NOT on a unit that was not served: it believes the key until it is',
    '0002',
    'forged.suit',
    'done',
  );
  nobodyLeftBehind(stage, '2.0.0', ['0003']);
}

/** The key of one cohort leaks: the others are not reached. */
export function cohortKeyLeak(stage: Stage): void {
  workshop(stage);
  for (const cohort of ['north', 'south']) stage.prepare(`cohort-key create ${DOSING} ${cohort}`);
  stage.prepare(`seal good.bin --class ${DOSING} --version 1.0.0 --out first.suit`);
  field(stage, '0001', 'first.suit', ' --cohort north');
  field(stage, '0002', 'first.suit', ' --cohort south');
  stage.files.copy(MAKER, ATTACKER);
  for (const part of ['keys/', 'private/keys/'])
    stage.files.forget(`${ATTACKER}/${part}${DOSING}.south.${part === 'keys/' ? 'json' : 'pem'}`);
  forge(stage, { name: 'forged.suit', options: ' --sequence 50', className: DOSING });
  ask(stage, 'a unit of the cohort accepts the forgery', '0001', 'forged.suit', 'done');
  ask(stage, 'a unit of another cohort is not reached', '0002', 'forged.suit', {
    refused: 'mac-key-unknown',
  });
  stage.move('opens the incident', `incident open cohort-key-leak --key ${DOSING}.north`);
  stage.move('makes a new key for these units', `cohort-key create ${DOSING} north-2`);
  stage.move(
    'unit 0003 in place of 0001: served, and provisioned anew',
    `provision ${DOSING} --serial 0003 --cohort north-2 --out ${unitFile('0003')}`,
  );
  stage.move(
    'seals for the cohorts as they are now',
    `seal good.bin --class ${DOSING} --version 1.0.1 --sequence 100 --out next.suit`,
  );
  for (const serial of ['0002', '0003']) run(stage, serial, 'next.suit');
  ask(stage, 'the leaked key forges in vain there', '0003', 'forged.suit', { refused: 'mac-key-unknown' });
  ask(stage, 'and NOT on a unit that was not served', '0001', 'forged.suit', 'done');
  nobodyLeftBehind(stage, '1.0.1', ['0002', '0003']);
}
