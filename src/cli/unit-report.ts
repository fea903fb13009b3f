import { existsSync } from 'node:fs';
import { fromHex } from '../bytes/index.ts';
import {
  deviceOf,
  NONCE_SIZE,
  type ReportOptions,
  rememberUnit,
  type SuitReport,
  sealReport,
  type UnitMemory,
} from '../report/index.ts';
import { filesOn } from '../workspace/index.ts';
import { CommandFailure, EXIT, wrongUse } from './exit.ts';
import { reportJson } from './show-report.ts';
import type { Call } from './spec.ts';
import { authenticatorOf } from './unit-authenticator.ts';
import type { UnitSession } from './unit-session.ts';

const HEX = /^(?:[0-9a-fA-F]{2})+$/;

/** Where a report is to go and what it is to answer, by --report or --out, --nonce, --mac, --force. */
export interface ReportOrder extends ReportOptions {
  readonly file: string;
  readonly mac: boolean;
}

/** The report that a command is to make beside its work, by --report; undefined without. Asked before the work begins. */
export function reportOrder(call: Call, option: 'report' | 'out'): ReportOrder | undefined {
  const file = call.text(option);
  if (file === undefined) return undefined;
  if (existsSync(file) && !call.flag('force')) {
    const message = `${file} is there already and was left as it is`;
    throw new CommandFailure(EXIT.wrongUse, 'output-exists', message, 'name another file');
  }
  return { file, mac: call.flag('mac'), nonce: nonceOf(call), capabilities: call.flag('capabilities') };
}

/** The challenge that --nonce gives. */
export function nonceOf(call: Call): Uint8Array | undefined {
  const nonce = bytesOf(call, 'nonce');
  if (!nonce || (nonce.length >= NONCE_SIZE.least && nonce.length <= NONCE_SIZE.most)) return nonce;
  throw wrongUse(
    `--nonce has ${nonce.length} bytes; a challenge has ${NONCE_SIZE.least} to ${NONCE_SIZE.most} (RFC 9711 section 4.1)`,
    'make one: openssl rand -hex 16',
  );
}

/** The bytes that an option gives in hexadecimal. */
export function bytesOf(call: Call, name: string): Uint8Array | undefined {
  const text = call.text(name);
  if (text === undefined) return undefined;
  if (HEX.test(text)) return fromHex(text);
  throw wrongUse(`--${name} ${text}: expected pairs of hexadecimal digits`);
}

/** What a unit remembers now. */
export function memoryOf({ unit, flash, file }: UnitSession): UnitMemory {
  return rememberUnit(unit, flash, file.memory.running);
}

/** Has the unit sign or MAC a report and writes it. Gives what --json says of it. */
export async function writeUnitReport(
  call: Call,
  session: UnitSession,
  order: ReportOrder,
  report: SuitReport,
): Promise<object> {
  const { unit, file } = session;
  const authenticator = await authenticatorOf(call, session, 'report', order.mac);
  const sender = { deviceId: deviceOf(unit.record), age: unit.age() };
  const sealed = await sealReport(report, sender, authenticator);
  filesOn().replace(order.file, sealed);
  const container = 'sign' in authenticator ? 'COSE_Sign1' : 'COSE_Mac0';
  call.out.fact('report', `${order.file}, ${sealed.length} B, ${container}`);
  if (container === 'COSE_Mac0') {
    call.out.caution(
      'whoever holds the class key can make such a report in the name of any unit of the class',
    );
  }
  return {
    file: order.file,
    size_bytes: sealed.length,
    container,
    algorithm: authenticator.algorithm.name,
    device_id: file.record.device_id,
    age: sender.age,
    ...reportJson(report),
  };
}
