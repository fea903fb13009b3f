import { readFileSync, writeFileSync } from 'node:fs';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { classId, formatUuid } from '../../src/suit/index.ts';
import {
  addClass,
  classJson,
  listClasses,
  PROFILES,
  readClass,
  WorkspaceError,
} from '../../src/workspace/index.ts';
import { failure, freshWorkspace, withVent } from './setup.ts';

/** The class `vent` with one text in its file replaced by another, read again. */
async function readEdited(from: string, to: string) {
  const { workspace } = await withVent();
  const file = workspace.path('classes', 'vent.yaml');
  const text = readFileSync(file, 'utf8');
  expect(text).toContain(from);
  writeFileSync(file, text.replace(from, to));
  return failure(() => readClass(workspace, 'vent'));
}

describe('class add', () => {
  test('defaults: two remapped Cortex-M slots of 256 KiB, P-256, no clock', async () => {
    const { workspace, vent } = await withVent();
    expect(await readClass(workspace, 'vent')).toEqual(vent);
    expect(classJson(workspace, vent)).toMatchObject({
      format: 'fieldseal.class/1',
      trial: true,
      model: 'VC-2',
      scheme: 'asymmetric',
      profile: 'suit-sha256-esp256-ecdh-a128ctr',
      algorithm: 'ESP256',
      clock: false,
      confidentiality: 'none',
      memory: {
        shape: 'remapped',
        core: 'cortex-m',
        link_address: 0x08000000,
        slots: [
          { name: 'A', address: 0x08000000, size: 262144 },
          { name: 'B', address: 0x08040000, size: 262144 },
        ],
        flash: { erase_page: 4096, write_unit: 8, erased_value: 255, endurance: 10000 },
        ram: { address: 0x20000000, size: 65536 },
      },
    });
  });

  test('SUIT manifest 8.4.8.2: the class identifier is UUIDv5 of the model under the vendor', async () => {
    const { workspace, vent } = await withVent();
    // python3 -c 'import uuid; print(uuid.uuid5(uuid.uuid5(uuid.NAMESPACE_DNS, "hollinridge.example"), "VC-2"))'
    expect(formatUuid(vent.classId)).toBe('c08f14d6-a43a-533a-9da4-39d2a9c63952');
    expect(vent.classIds).toEqual([classId(workspace.vendorId, 'VC-2')]);
  });

  test('a hardware revision gives a second, narrower identifier, and payloads name that one', async () => {
    const workspace = freshWorkspace();
    const added = await addClass(workspace, {
      name: 'vent-b',
      model: 'VC-2',
      hardwareRevision: 'B',
      scheme: 'asymmetric',
    });
    expect(added.classIds).toEqual([
      classId(workspace.vendorId, 'VC-2'),
      classId(workspace.vendorId, 'VC-2/B'),
    ]);
    expect(added.classId).toEqual(added.classIds[1]);
  });

  test('large images: 2 GiB slots without a vector table', async () => {
    const workspace = freshWorkspace();
    const big = await addClass(workspace, {
      name: 'big',
      model: 'BIG-1',
      scheme: 'asymmetric',
      core: 'none',
      slotSize: 2 ** 31,
    });
    expect(big.memory.slots.map(({ size }) => size)).toEqual([2 ** 31, 2 ** 31]);
  });

  test.each(['remapped', 'position-independent', 'linked', 'staged'] as const)(
    'the shape %s reads back',
    async (shape) => {
      const workspace = freshWorkspace();
      const added = await addClass(workspace, {
        name: 'vent',
        model: 'VC-2',
        scheme: 'symmetric',
        shape,
        clock: true,
      });
      expect(await readClass(workspace, 'vent')).toEqual(added);
      expect(added.memory.shape).toBe(shape);
      expect(added.profile.name).toBe('suit-sha256-hmac-a128kw-a128ctr');
      expect(added.clock).toBe(true);
    },
  );

  test('model texts that YAML would read otherwise stay texts', async () => {
    for (const model of ['1.10', '0012', 'true', 'null', 'a: b', '#1', "it's", '0x10', 'größe', '"q"']) {
      const workspace = freshWorkspace();
      await addClass(workspace, { name: 'odd', model, scheme: 'asymmetric' });
      expect((await readClass(workspace, 'odd')).model).toBe(model);
    }
  });

  test('a name that is taken, and an identifier that another class has, are refused', async () => {
    const { workspace } = await withVent();
    const options = { model: 'VC-2', scheme: 'asymmetric' } as const;
    expect((await failure(() => addClass(workspace, { name: 'vent', ...options }))).code).toBe('name-taken');
    expect((await failure(() => addClass(workspace, { name: 'other', ...options }))).message).toContain(
      'same identifier',
    );
    expect(listClasses(workspace)).toEqual(['vent']);
  });

  test.each(['', '.', '..', '../vent', 'a/b', '-x', 'a.b', 'x'.repeat(65), 'a b', 'ü'])(
    '%j is no name of a class',
    async (name) => {
      const error = await failure(() =>
        addClass(freshWorkspace(), { name, model: 'VC-2', scheme: 'asymmetric' }),
      );
      expect(error.code).toBe('name-invalid');
    },
  );

  test('draft-ietf-suit-mti 3: all six profiles are known by their names', async () => {
    expect(PROFILES.map(({ name }) => name).sort()).toEqual([
      'suit-sha256-ed25519-ecdh-a128ctr',
      'suit-sha256-ed25519-ecdh-chacha-poly',
      'suit-sha256-esp256-ecdh-a128ctr',
      'suit-sha256-esp256-ecdh-a128gcm',
      'suit-sha256-hmac-a128kw-a128ctr',
      'suit-sha256-hsslms-a256kw-a256ctr',
    ]);
    const workspace = freshWorkspace();
    const options = { name: 'vent', model: 'VC-2', scheme: 'asymmetric' } as const;
    const hashBased = await addClass(workspace, {
      ...{ name: 'vent-q', model: 'VC-3', scheme: 'asymmetric' },
      profile: 'suit-sha256-hsslms-a256kw-a256ctr',
    });
    expect(hashBased.profile.authentication).toEqual({ id: -46, name: 'HSS-LMS' });
    const wrongScheme = await failure(() =>
      addClass(workspace, { ...options, profile: 'suit-sha256-hmac-a128kw-a128ctr' }),
    );
    expect(wrongScheme.code).toBe('wrong-value');
    const ed25519 = await addClass(workspace, { ...options, profile: 'suit-sha256-ed25519-ecdh-a128ctr' });
    expect(ed25519.profile.authentication).toEqual({ id: -19, name: 'Ed25519' });
  });
});

describe('a mistake in a class file names line, column, field, what was expected, what was found, an example', () => {
  const cases: [string, string, string, string][] = [
    ['model: "VC-2"', 'model: 1.10', '6:8: model: expected text; put it in quotes', 'found the number 1.10'],
    [
      'model: "VC-2"',
      'modle: "VC-2"',
      '6:1: modle: expected a known field (did you mean model?)',
      'model: expected text',
    ],
    [
      'scheme: asymmetric',
      'scheme: both',
      '9:9: scheme: expected one of asymmetric, symmetric',
      'found the text both',
    ],
    ['clock: false', 'clock: no', '13:8: clock: expected true or false', 'for example clock: false'],
    ['clock: false', 'clock: false\nclock: true', '14:1: clock: expected each field once', 'a second time'],
    [
      'erase_page: 4KiB',
      'erase_page: 4K',
      '31:17: memory.flash.erase_page: expected a size',
      'for example erase_page: "4KiB"',
    ],
    ['size: 256KiB }\n', 'size: 100 }\n', '24:45: memory.slots[0].size', 'a multiple of the erase page'],
    ['address: 0x08040000', 'address: 0x08020000', '25:27: memory.slots[1].address', 'overlaps'],
    [
      'endurance: 10000',
      'endurance: many',
      '34:16: memory.flash.endurance: expected a whole number',
      'found the text many',
    ],
    [
      'scheme: asymmetric',
      'scheme: symmetric',
      '10:10: profile',
      'expected a profile of the symmetric scheme',
    ],
    [
      'profile: suit-sha256-esp256-ecdh-a128ctr',
      'profile: sha256',
      '10:10: profile: expected one of',
      'found the text sha256',
    ],
    ['  slots:', '\tslots:', '23:1: expected', 'found a tab'],
    ['trial_attempts: 3', 'trial_attempts: 0', 'trial_attempts: expected at least 1', 'found the number 0'],
    ['cautions: []', 'cautions: careful', 'cautions: expected a list of texts', 'found the text careful'],
    [
      'format: fieldseal.device-class/1',
      'format: fieldseal.device-class/2',
      '3:9: format: expected fieldseal.device-class/1',
      'device-class/2',
    ],
  ];
  test.each(cases)('%s -> %s', async (from, to, place, detail) => {
    const error = await readEdited(from, to);
    expect(error.code).toBe('file-invalid');
    expect(error.status).toBe(2);
    expect(error.message).toContain(`classes/vent.yaml:`);
    expect(error.message).toContain(place);
    expect(error.message).toContain(detail);
  });

  test('a state area too small for the marks of a unit is found here, not at provisioning', async () => {
    const { workspace, vent } = await withVent();
    const text = readFileSync(vent.file, 'utf8')
      .replace('erase_page: 4KiB', 'erase_page: 64')
      .replace('address: 0x08084000, size: 8KiB', 'address: 0x08084000, size: 128');
    writeFileSync(vent.file, text);
    const error = await failure(() => readClass(workspace, 'vent'));
    expect(error.mistakes.map(({ field }) => field)).toEqual(['memory.state.size']);
  });

  test('every mistake of a file is told at once', async () => {
    const error = await readEdited('clock: false', 'clock: maybe\nextra: 1');
    expect(error.mistakes.map(({ field }) => field)).toEqual(['clock', 'extra']);
  });

  test('an alias, with which a short file stands for a huge one, is refused', async () => {
    const error = await readEdited('cautions: []', 'x: &a ["", ""]\ncautions: [*a, *a, *a]');
    expect(error.code).toBe('file-invalid');
    expect(error.message).toContain('found the alias *a');
  });

  test('property: whatever is done to a class file, reading it gives a class or the list of its mistakes', async () => {
    const { workspace, vent } = await withVent();
    const text = readFileSync(vent.file, 'utf8');
    const edit = fc.tuple(fc.nat(text.length), fc.nat(40), fc.string({ maxLength: 12, unit: 'binary' }));
    await fc.assert(
      fc.asyncProperty(fc.array(edit, { minLength: 1, maxLength: 3 }), async (edits) => {
        const edited = edits.reduce(
          (now, [at, cut, put]) => now.slice(0, at) + put + now.slice(at + cut),
          text,
        );
        writeFileSync(vent.file, edited);
        const result = await readClass(workspace, 'vent').catch((error: unknown) => error);
        if (!(result instanceof WorkspaceError)) expect(result).toHaveProperty('classId');
        else expect(result.code).toBe('file-invalid');
      }),
      { numRuns: 100 },
    );
  });

  test('an empty file, a list and a text are refused with the first field missing', async () => {
    for (const text of ['', '[]', 'vent', '{']) {
      const { workspace } = await withVent();
      writeFileSync(workspace.path('classes', 'vent.yaml'), text);
      expect((await failure(() => readClass(workspace, 'vent'))).code).toBe('file-invalid');
    }
  });

  test('a class that is not there: its neighbours are named', async () => {
    const { workspace } = await withVent();
    const error = await failure(() => readClass(workspace, 'dosing'));
    expect(error.code).toBe('not-found');
    expect(error.hint).toContain('its classes are vent');
  });
});
