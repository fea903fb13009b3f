/** Two people, as is common practice, and against RFC 9124 section 4.2.16 (unauthorised signing): the frozen request, approvals, and what seal refuses. */
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { retireApprover } from '../../src/authority/index.ts';
import { fromHex, fromUtf8, sourceOf, toHex } from '../../src/bytes/index.ts';
import { sealSign1 } from '../../src/cose/index.ts';
import { openApprover, openSigner } from '../../src/keys/index.ts';
import { decodeFrozen, encodeFrozen, FrozenError } from '../../src/release/approval/frozen.ts';
import { openRequest } from '../../src/release/approval/open.ts';
import { standingOfRequest } from '../../src/release/approval/standing.ts';
import { readStatement, signStatement } from '../../src/release/approval/statement.ts';
import { requestJson, seal, withdraw } from '../../src/release/index.ts';
import { openEnvelope } from '../../src/suit/index.ts';
import {
  appendEntry,
  claimCounter,
  isSpent,
  keyPaths,
  openWorkspace,
  readClass,
  readKey,
  readLedger,
  readRecord,
  verifyLedger,
  writeRecord,
} from '../../src/workspace/index.ts';
import { type At, approveBy, asked, people, person, sealAsked } from './approvals.ts';
import { editClass, expectNothingSealed, failure, firmware, prepared, request, secrets } from './setup.ts';

const DAY = 86_400_000;

/** A clock that can be moved. */
function clock() {
  const start = Date.now();
  let ahead = 0;
  return { now: () => new Date(start + ahead), move: (ms: number) => (ahead += ms) };
}

/** Puts an approval on file and on the ledger, whatever it holds. */
function fileApproval(at: At, name: string, bytes: Uint8Array, approver: string): void {
  writeRecord(at.workspace, {
    folder: 'requests',
    name: ['vent', name],
    kind: 'approved',
    facts: { format: 'fieldseal.approval/1', approver, approval_hex: toHex(bytes) },
    summary: { approver },
  });
}

async function personKey(at: At, name: string) {
  const file = keyPaths(at.workspace, name).secret;
  return openApprover(readKey(at.workspace, name), { file, secrets, production: false });
}

const term = () => ({ issued: new Date(), expires: new Date(Date.now() + DAY) });
const codeOf = async (action: () => unknown) => (await failure(action)).code;
const faults = async (at: At) =>
  standingOfRequest(at.workspace, await openRequest(at.workspace, 'vent/1')).approvals.map(
    ({ fault }) => fault,
  );

describe('a sealing request that somebody else approved', () => {
  test('is sealed as it was frozen: manifest, number and image; ledger, record and result say who asked and who approved', async () => {
    const at = await people();
    const opened = await asked(at, { securityVersion: 3, description: 'warmer nights' });
    await approveBy(at, 'bela');
    const { json } = await sealAsked(at);
    const envelope = openEnvelope(sourceOf(readFileSync(join(at.folder, 'vent.suit'))));
    expect(toHex(envelope.manifest)).toBe(toHex(opened.frozen.manifest));
    expect(json).toMatchObject({ sequence_number: 1, security_version: 3 });
    const said = { requested_by: 'Ada Brook', counted: 1, needed: 1, request_sha256: opened.sha256 };
    expect(json.approval).toMatchObject({ ...said, approvals: [{ person: 'Bela Marsh', counts: true }] });
    expect(readRecord(at.workspace, 'releases', ['vent', '1']).facts.approval).toEqual(json.approval);
    const sealed = readLedger(at.workspace).find(({ kind }) => kind === 'sealed');
    expect(sealed?.facts).toMatchObject({ requested_by: 'Ada Brook', approved_by: ['Bela Marsh'] });
    expect(verifyLedger(at.workspace).findings).toEqual([]);
  });

  test('shows class, version, number, digest, size and destination out of the signed bytes, not out of what lies beside them', async () => {
    const at = await people();
    const { frozen } = await asked(at);
    const shown = requestJson(await openRequest(at.workspace, 'vent/1'));
    expect(shown).toMatchObject({
      class: 'vent',
      version: '1.4.0',
      sequence_number: '1',
      images: [{ digest: toHex(frozen.images[0]!.digest), size_bytes: 6000, address: 0x0800_0000 }],
      destination: { shape: 'remapped', slots: [{ name: 'A', address: 0x0800_0000 }, { name: 'B' }] },
    });
    const path = at.workspace.path('requests/vent/1.json');
    writeFileSync(
      path,
      readFileSync(path, 'utf8').replace('"sequence_number": "1"', '"sequence_number": "9"'),
    );
    expect(await codeOf(() => openRequest(at.workspace, 'vent/1'))).toBe('request-changed');
  });

  test('is used up by its one sealing; of two at once exactly one comes through', async () => {
    const at = await people();
    await asked(at);
    await approveBy(at, 'bela');
    const outs = ['a.suit', 'b.suit'].map((name) => sealAsked(at, { out: join(at.folder, name) }));
    const ended = await Promise.allSettled(outs);
    expect(ended.filter(({ status }) => status === 'fulfilled')).toHaveLength(1);
    expect(readLedger(at.workspace).filter(({ kind }) => kind === 'sealed')).toHaveLength(1);
    expect(await codeOf(() => sealAsked(at, { out: join(at.folder, 'c.suit') }))).toBe('request-used');
    expect(verifyLedger(at.workspace).findings).toEqual([]);
  });

  test('takes its number when it is made: nothing else gets it, and one sealed later than a higher one says so', async () => {
    const at = await people();
    await asked(at);
    await asked(at);
    await approveBy(at, 'bela', 'vent/1');
    await approveBy(at, 'bela', 'vent/2');
    await sealAsked(at, { request: 'vent/2' });
    const { json, cautions } = await sealAsked(at, { request: 'requests/vent/1.json', force: true });
    expect(json.sequence_number).toBe(1);
    expect(cautions.join()).toContain('number 2 was sealed since');
  });

  test('of an encrypted class freezes how and for whom it is encrypted; another recipient is another request', async () => {
    const at = await people();
    editClass(at.workspace, 'vent', 'confidentiality: none', 'confidentiality: image\nrecipients: class');
    const { createContentKeyFor } = await import('../../src/authority/index.ts');
    const deviceClass = await readClass(at.workspace, 'vent');
    await createContentKeyFor(at.workspace, deviceClass, undefined, { people: [], backups: [] }, secrets);
    const { frozen } = await asked(at);
    expect(frozen.encryption).toMatchObject({ algorithm: 'A128CTR', kind: 'class' });
    await approveBy(at, 'bela');
    const description = keyPaths(at.workspace, 'content.vent').description;
    const text = readFileSync(description, 'utf8');
    writeFileSync(
      description,
      text.replaceAll(readKey(at.workspace, 'content.vent').fingerprint, '00'.repeat(8)),
    );
    expect((await failure(() => sealAsked(at))).code).toMatch(/not-as-requested|key-differs/);
    expectNothingSealed(at);
    writeFileSync(description, text);
    expect((await sealAsked(at)).json.encryption).toMatchObject({ algorithm: 'A128CTR' });
  });
});

describe('seal', () => {
  test('refuses a class that needs approvals without a request; by default every class of a production workspace, and none of a trial', async () => {
    const at = await people();
    expect(await codeOf(() => seal(request(at)))).toBe('approval-needed');
    expectNothingSealed(at);
    const other = await prepared();
    const path = other.workspace.path('fieldseal.yaml');
    expect((await readClass(other.workspace, 'vent')).approvals).toBe(0);
    writeFileSync(path, readFileSync(path, 'utf8').replace('kind: trial', 'kind: production'));
    const production = await openWorkspace(other.workspace.root);
    expect((await readClass(production, 'vent')).approvals).toBe(1);
    expect(await codeOf(() => seal(request({ ...other, workspace: production })))).toBe('approval-needed');
  });

  test('refuses before anybody approved, and the number stays for when they have', async () => {
    const at = await people();
    await asked(at);
    const error = await failure(() => sealAsked(at));
    expect(error.code).toBe('approvals-too-few');
    expect(error.message).toContain('needs the approval of one person beside Ada Brook, and has 0');
    expect(isSpent(at.workspace, 'vent', 1n)).toBe(false);
    await approveBy(at, 'bela');
    await sealAsked(at);
  });

  test("refuses the requester's own approval: by the same key, and by another key of the same person", async () => {
    const at = await people();
    const { bytes } = await asked(at);
    for (const name of ['ada', 'ada-2']) expect(await codeOf(() => approveBy(at, name))).toBe('approval-own');
    for (const [i, name] of ['ada', 'ada-2'].entries())
      fileApproval(
        at,
        `1-approval-${i + 1}`,
        await signStatement(await personKey(at, name), 'approval', bytes, term()),
        name,
      );
    expect(await faults(at)).toEqual(['by the one who asked', 'by the one who asked']);
    const error = await failure(() => sealAsked(at));
    expect(error.code).toBe('approvals-too-few');
    expect(error.message).toContain('that of ada-2 does not count: by the one who asked');
    expectNothingSealed(at);
  });

  test('refuses an approval over other bytes, one without an entry in the ledger, and one that is no approval at all', async () => {
    const at = await people();
    const first = await asked(at);
    await asked(at, { version: '6.6.6' });
    const { record } = await approveBy(at, 'bela', 'vent/2');
    const { approval_hex: over2 } = readRecord(at.workspace, 'requests', ['vent', '2-approval-1']).facts;
    fileApproval(at, '1-approval-1', fromHex(String(over2)), 'bela');
    fileApproval(at, '1-approval-2', fromUtf8('yes'), 'bela');
    const text = readFileSync(at.workspace.path(record), 'utf8');
    writeFileSync(at.workspace.path('requests/vent/1-approval-3.json'), text);
    const key = await personKey(at, 'bela');
    fileApproval(at, '1-approval-4', await signStatement(key, 'request', first.bytes, term()), 'bela');
    fileApproval(at, '1-approval-5', await sealSign1(key, { payload: first.bytes }), 'bela');
    expect(await faults(at)).toEqual([
      'over other bytes',
      'unreadable',
      'not on the ledger',
      'unreadable',
      'unreadable',
    ]);
    expect(await codeOf(() => sealAsked(at))).toBe('approvals-too-few');
  });

  test('refuses expired approvals and expired requests', async () => {
    const time = clock();
    const at = await people({ now: time.now });
    await asked(at, { days: 10 });
    await approveBy(at, 'bela', 'vent/1', 2);
    time.move(3 * DAY);
    const late = await failure(() => sealAsked(at));
    expect([late.code, late.message]).toEqual(['approvals-too-few', expect.stringContaining('expired')]);
    await approveBy(at, 'bela');
    time.move(8 * DAY);
    expect(await codeOf(() => sealAsked(at))).toBe('request-expired');
    expect(await codeOf(() => approveBy(at, 'bela'))).toBe('request-expired');
    expectNothingSealed(at);
  });

  test('refuses withdrawn approvals, and withdrawn requests for good', async () => {
    const at = await people();
    await asked(at);
    await approveBy(at, 'bela');
    expect(await codeOf(() => withdraw(at.workspace, 'vent/1', { approver: 'ada', reason: 'no' }))).toBe(
      'approval-unknown',
    );
    await withdraw(at.workspace, 'vent/1', { approver: 'bela', reason: 'second thoughts' });
    expect(await faults(at)).toEqual(['withdrawn']);
    expect(await codeOf(() => sealAsked(at))).toBe('approvals-too-few');
    await approveBy(at, 'bela');
    expect(await faults(at)).toEqual(['withdrawn', undefined]);
    await withdraw(at.workspace, 'vent/1', { reason: 'wrong build' });
    for (const action of [() => sealAsked(at), () => approveBy(at, 'bela')])
      expect(await codeOf(action)).toBe('request-withdrawn');
    expectNothingSealed(at);
  });

  test('that began before a withdrawal looks once more after its number is used up, and stops', async () => {
    const at = await people();
    await asked(at);
    await approveBy(at, 'bela');
    const { sha256 } = await openRequest(at.workspace, 'vent/1');
    let said = false;
    const progress = () => {
      if (!said) appendEntry(at.workspace, 'request-withdrawn', { request_sha256: sha256, reason: 'stop' });
      said = true;
    };
    expect(await codeOf(() => sealAsked(at, { progress }))).toBe('request-withdrawn');
    expect(isSpent(at.workspace, 'vent', 1n)).toBe(true);
    expectNothingSealed(at);
  });

  test('refuses approvals by keys that were retired, that nobody here has, or whose person was changed', async () => {
    const at = await people();
    await asked(at);
    await approveBy(at, 'bela');
    const { description } = keyPaths(at.workspace, 'bela');
    const text = readFileSync(description, 'utf8');
    writeFileSync(description, JSON.stringify({ ...JSON.parse(text), purpose: 'signer' }));
    expect(await faults(at)).toEqual(['by a key that nobody here has']);
    writeFileSync(description, text);
    retireApprover(at.workspace, 'bela', 'left the company');
    expect(await faults(at)).toEqual(['by a retired key']);
    expect(await codeOf(() => sealAsked(at))).toBe('approvals-too-few');
    expect(await codeOf(() => approveBy(at, 'bela'))).toBe('approver-unfit');
  });

  test('refuses trial approver keys in a production workspace', async () => {
    const at = await people();
    await asked(at);
    await approveBy(at, 'bela');
    const path = at.workspace.path('fieldseal.yaml');
    writeFileSync(path, readFileSync(path, 'utf8').replace('kind: trial', 'kind: production'));
    const workspace = await openWorkspace(at.workspace.root);
    expect(await faults({ ...at, workspace })).toEqual(['by a trial key']);
    expect(await codeOf(() => sealAsked({ ...at, workspace }))).toBe('approvals-too-few');
    expect(await codeOf(() => approveBy({ ...at, workspace }, 'bela'))).toBe('approver-unfit');
  });

  test('counts a person once, whatever number of keys; a class may ask for two, and the class as it is now counts', async () => {
    const at = await people({ approvals: 2 });
    await person(at.workspace, 'bela-2', 'bela marsh');
    await person(at.workspace, 'cato', 'Cato Finch');
    await asked(at);
    await approveBy(at, 'bela');
    expect(await codeOf(() => approveBy(at, 'bela'))).toBe('approved-already');
    await approveBy(at, 'bela-2');
    expect(await faults(at)).toEqual([undefined, 'by a person who approved already']);
    expect(await codeOf(() => sealAsked(at))).toBe('approvals-too-few');
    await approveBy(at, 'cato');
    editClass(at.workspace, 'vent', 'approvals: 2', 'approvals: 3');
    expect(await codeOf(() => sealAsked(at))).toBe('approvals-too-few');
    editClass(at.workspace, 'vent', 'approvals: 3', 'approvals: 0');
    expect((await sealAsked(at)).json.approval).toMatchObject({ needed: 2, counted: 2 });
  });

  test('refuses another image than was approved, and nothing is used up', async () => {
    const at = await people();
    await asked(at);
    await approveBy(at, 'bela');
    writeFileSync(at.image, firmware(6000, 2));
    const error = await failure(() => sealAsked(at));
    expect(error.code).toBe('not-as-requested');
    expect(error.message).toMatch(/SHA-256 [0-9a-f]{64}, and approved were 6000 bytes/);
    expect(isSpent(at.workspace, 'vent', 1n)).toBe(false);
    expectNothingSealed(at);
  });

  test('refuses a request whose class was changed since, and one of a counter that was claimed since', async () => {
    const at = await people();
    await asked(at);
    await approveBy(at, 'bela');
    editClass(at.workspace, 'vent', 'model: "VC-2"', 'model: "VC-3"');
    expect(await codeOf(() => sealAsked(at))).toBe('request-changed');
    editClass(at.workspace, 'vent', 'model: "VC-3"', 'model: "VC-2"');
    claimCounter(at.workspace, await readClass(at.workspace, 'vent'), { above: 5n, reason: 'moved' });
    expect(await codeOf(() => sealAsked(at))).toBe('counter-elsewhere');
    expectNothingSealed(at);
  });

  test('refuses a request with any byte changed, and the ledger check finds it', async () => {
    const at = await people();
    await asked(at);
    await approveBy(at, 'bela');
    const path = at.workspace.path('requests/vent/1.json');
    const text = readFileSync(path, 'utf8');
    const start = text.indexOf('"request_hex": "') + 16;
    const length = text.indexOf('"', start) - start;
    await fc.assert(
      fc.asyncProperty(fc.nat(length - 1), async (i) => {
        const digit = text[start + i] === '0' ? '1' : '0';
        writeFileSync(path, text.slice(0, start + i) + digit + text.slice(start + i + 1));
        expect(await codeOf(() => sealAsked(at))).toBe('request-changed');
      }),
      { numRuns: 25 },
    );
    expect(verifyLedger(at.workspace).findings.map(({ kind }) => kind)).toContain('record-changed');
  });
});

describe('an approval', () => {
  test('stands in for nothing else: as the signature of an envelope it is refused, and no other signature is an approval', async () => {
    const at = await people();
    const { frozen } = await asked(at);
    const { record } = await approveBy(at, 'bela');
    const hex = String(
      readRecord(at.workspace, 'requests', record.slice(9, -5).split('/')).facts.approval_hex,
    );
    expect(readStatement(fromHex(hex), 'approval')).toBeDefined();
    expect(readStatement(fromHex(hex), 'request')).toBeUndefined();
    await sealAsked(at);
    const envelope = openEnvelope(sourceOf(readFileSync(join(at.folder, 'vent.suit'))));
    expect(readStatement(envelope.blocks[0]!.bytes, 'approval')).toBeUndefined();
    const access = { file: keyPaths(at.workspace, 'bela').secret, secrets, production: false };
    expect(await codeOf(() => openSigner(readKey(at.workspace, 'bela'), access))).toBe('key-purpose');
    const line = { ...access, file: keyPaths(at.workspace, 'line-1').secret };
    expect(await codeOf(() => openApprover(readKey(at.workspace, 'line-1'), line))).toBe('key-purpose');
    expect(await codeOf(() => approveBy(at, 'line-1', 'vent/1'))).toMatch(/request-used|approver-unfit/);
    expect(frozen.manifest.length).toBeGreaterThan(100);
  });

  test('and a request have one encoding, and what is none is refused', async () => {
    const at = await people();
    const { frozen } = await asked(at);
    const bytes = encodeFrozen(frozen);
    expect(toHex(encodeFrozen(decodeFrozen(bytes)))).toBe(toHex(bytes));
    fc.assert(
      fc.property(fc.nat(bytes.length - 1), fc.integer({ min: 1, max: 255 }), (i, change) => {
        const other = bytes.slice();
        other[i]! ^= change;
        try {
          expect(toHex(encodeFrozen(decodeFrozen(other)))).toBe(toHex(other));
        } catch (error) {
          expect(error).toBeInstanceOf(FrozenError);
        }
      }),
    );
  });
});

describe('a release that travels as a delta', () => {
  /** A class that takes deltas, a release that units run, and the next one, asked for. */
  async function askedByDelta() {
    const at = await people();
    editClass(at.workspace, 'vent', '# delta_window: 8KiB', 'delta_window: 8KiB');
    const running = join(at.folder, 'running.bin');
    writeFileSync(running, firmware(6000, 8));
    const next = firmware(6000, 8);
    next[3000]! ^= 0xff;
    writeFileSync(at.image, next);
    const opened = await asked(at, { deltaFrom: [running] });
    await approveBy(at, 'bela');
    return { at, opened, running };
  }

  test('is asked for with its delta, and sealed as it was approved, byte for byte', async () => {
    const { at, opened, running } = await askedByDelta();
    const [image] = requestJson(opened).images as { delta: { size_bytes: number } }[];
    expect(image!.delta.size_bytes).toBeLessThan(600);
    await sealAsked(at, { deltaFrom: [running] });
    const envelope = openEnvelope(sourceOf(readFileSync(join(at.folder, 'vent.suit'))));
    expect(toHex(envelope.manifest)).toBe(toHex(opened.frozen.manifest));
    expect([...envelope.integrated.keys()]).toEqual(['#delta']);
  });

  test('not without its delta, not from another image, and not where none was asked for', async () => {
    const { at } = await askedByDelta();
    const other = join(at.folder, 'other.bin');
    writeFileSync(other, firmware(6000, 9).fill(0x11, 100, 300));
    expect(await codeOf(() => sealAsked(at))).toBe('not-as-requested');
    expect(await codeOf(() => sealAsked(at, { deltaFrom: [other] }))).toBe('not-as-requested');
    const plain = await people();
    await asked(plain);
    await approveBy(plain, 'bela');
    editClass(plain.workspace, 'vent', '# delta_window: 8KiB', 'delta_window: 8KiB');
    const running = join(plain.folder, 'running.bin');
    writeFileSync(running, firmware(4000, 9));
    expect(await codeOf(() => sealAsked(plain, { deltaFrom: [running] }))).toMatch(/not-as-requested|delta-/);
  });
});
