import type { Store } from '../unit/index.ts';
import { readableJson } from './canonical.ts';
import { WorkspaceError } from './errors.ts';
import { type Access, createFileStore, type FileStore, openFileStore } from './file-store.ts';
import { filesOn } from './files.ts';
import { holdAlone } from './hold.ts';
import { readWritten } from './read-written.ts';

/** A part of a unit's flash that lies elsewhere than in its unit file, such as on a partition. */
export interface PlacedArea {
  /** The area's name in the memory map, such as `slot A`. */
  readonly name: string;
  /** Bytes from the start of the unit file: where the area would lie there. */
  readonly offset: number;
  readonly size: number;
  /** The block device or file that holds it, from its first byte on. */
  readonly path: string;
}

const PIECE = 1 << 20;

/** The file beside a unit file that tells where areas of its flash lie. */
const listOf = (unitPath: string) => `${unitPath}.areas`;

/**
 * Opens what a unit consists of: its file, and the places that hold areas of its flash. Who writes holds them alone until
 * `close`, and waits up to `patience` milliseconds for another; who reads waits for nobody, and may see what is half done. Throws
 * `WorkspaceError`, in-use among them.
 */
export async function openUnitStore(
  path: string,
  access: Access = 'write',
  patience?: number,
): Promise<FileStore> {
  const open = () => openAll(path, access);
  return access === 'read' ? open() : heldWhileOpen(path, open, patience);
}

/** Creates a unit file of `size` zero bytes, as `createFileStore` does, and holds it alone until `close`. */
export async function createUnitStore(path: string, size: number): Promise<FileStore> {
  return heldWhileOpen(path, () => createFileStore(path, size));
}

async function heldWhileOpen(
  path: string,
  open: () => FileStore | Promise<FileStore>,
  patience?: number,
): Promise<FileStore> {
  const letGo = await holdAlone(path, { patience });
  try {
    const store = await open();
    return {
      ...store,
      close: () => {
        try {
          store.close();
        } finally {
          letGo();
        }
      },
    };
  } catch (error) {
    letGo();
    throw error;
  }
}

async function openAll(path: string, access: Access): Promise<FileStore> {
  const areas = await readAreas(path);
  if (areas.length === 0) return openFileStore(path, access);
  // Real parts lose power: the file and its areas must agree about what came first.
  const how = access === 'write' ? 'durable' : access;
  const opened: FileStore[] = [];
  try {
    const base = openFileStore(path, how);
    opened.push(base);
    const parts = areas.map((area) => {
      const store = openFileStore(area.path, how, area.size);
      opened.push(store);
      if (!hasRoom(store, area))
        throw tooSmall(area, `put back the medium on which ${listOf(path)} says that it lies`);
      return { ...area, store };
    });
    return { ...spread(base, parts), close: () => closeAll(opened) };
  } catch (error) {
    closeAll(opened);
    throw error;
  }
}

/**
 * Moves areas out of a unit file, each to the place that it names: content first, read back and compared, then the list
 * beside the unit file, then zeros in the file, which no unit would start. Throws `WorkspaceError`; an area that was
 * moved before stays where it is. A place that holds anything but one and the same byte is overwritten only where `force` is
 * set: it may be somebody's file system.
 */
export async function placeAreas(
  unitPath: string,
  areas: readonly PlacedArea[],
  { force = false }: { readonly force?: boolean } = {},
): Promise<void> {
  const letGo = await holdAlone(unitPath);
  try {
    await moveOut(unitPath, areas, force);
  } finally {
    letGo();
  }
}

async function moveOut(unitPath: string, areas: readonly PlacedArea[], force: boolean): Promise<void> {
  const before = await readAreas(unitPath);
  const again = areas.find(({ name }) => before.some((each) => each.name === name));
  if (again)
    throw new WorkspaceError('name-taken', `${again.name} of ${unitPath} lies elsewhere already`, {
      hint: `${listOf(unitPath)} says where`,
    });
  for (const area of areas) requireFit(area, force);
  const base = openFileStore(unitPath, 'durable');
  try {
    for (const area of areas) copyOut(base, area);
    filesOn().replace(
      listOf(unitPath),
      readableJson({
        format: 'fieldseal.unit-areas/1',
        areas: [...before, ...areas].map((area) => ({ ...area })),
      }),
      { secret: true },
    );
    for (const { offset, size } of areas)
      for (const [at, length] of stretches(size)) base.write(offset + at, new Uint8Array(length));
  } finally {
    base.close();
  }
}

async function readAreas(unitPath: string): Promise<readonly PlacedArea[]> {
  const list = listOf(unitPath);
  const files = filesOn();
  if (!files.exists(list)) return [];
  const z = await import('zod');
  const count = z.number().int().nonnegative();
  const area = z.strictObject({
    name: z.string().min(1),
    offset: count,
    size: count,
    path: z.string().min(1),
  });
  const schema = z.strictObject({ format: z.literal('fieldseal.unit-areas/1'), areas: z.array(area).min(1) });
  return (await readWritten(files.readText(list), list, schema)).areas;
}

/** Judged for every area before the first is copied, so that nothing has moved where one does not fit. */
function requireFit(area: PlacedArea, force: boolean): void {
  const { name, size, path } = area;
  const place = openFileStore(path, 'read', size);
  try {
    if (!hasRoom(place, area))
      throw tooSmall(area, 'name a partition of at least that size; nothing was changed');
    if (!force && !isBlank(place, size))
      throw new WorkspaceError(
        'output-exists',
        `${path} is not blank: placing ${name} there overwrites what it holds`,
        {
          hint: 'make sure that it is the right partition, then say so with --force; nothing was changed',
          file: path,
        },
      );
  } finally {
    place.close();
  }
}

function isBlank(place: Store, size: number): boolean {
  const [first] = place.read(0, 1);
  for (const [at, length] of stretches(size))
    if (!place.read(at, length).every((byte) => byte === first)) return false;
  return true;
}

function hasRoom(place: Store, { size }: PlacedArea): boolean {
  try {
    place.read(size - 1, 1);
    return true;
  } catch (error) {
    if (error instanceof RangeError) return false;
    throw error;
  }
}

function tooSmall({ name, size, path }: PlacedArea, hint: string): WorkspaceError {
  return new WorkspaceError('file-damaged', `${path} is too small for ${name}, which takes ${size} bytes`, {
    hint,
    file: path,
  });
}

function copyOut(base: Store, { name, offset, size, path }: PlacedArea): void {
  const target = openFileStore(path, 'durable', size);
  try {
    for (const [at, length] of stretches(size)) target.write(at, base.read(offset + at, length));
    target.flush();
    for (const [at, length] of stretches(size)) {
      if (Buffer.compare(target.read(at, length), base.read(offset + at, length)) === 0) continue;
      throw new WorkspaceError('file-trouble', `${path} does not hold what was written for ${name}`, {
        hint: 'take another device: this one loses data',
        file: path,
      });
    }
  } finally {
    target.close();
  }
}

/** The file with some of its stretches elsewhere. */
function spread(base: Store, parts: readonly (PlacedArea & { readonly store: Store })[]): Store {
  const each = (offset: number, length: number, take: Take) => eachPart(base, parts, offset, length, take);
  return {
    size: base.size,
    read: (offset, length) => {
      const bytes = new Uint8Array(length);
      each(offset, length, (store, at, size, done) => bytes.set(store.read(at, size), done));
      return bytes;
    },
    write: (offset, bytes) =>
      each(offset, bytes.length, (store, at, size, done) =>
        store.write(at, bytes.subarray(done, done + size)),
      ),
    flush: () => {
      for (const store of [base, ...parts.map((part) => part.store)]) store.flush();
    },
  };
}

type Take = (store: Store, at: number, size: number, done: number) => void;

function eachPart(
  base: Store,
  parts: readonly (PlacedArea & { readonly store: Store })[],
  offset: number,
  length: number,
  take: Take,
): void {
  const end = offset + length;
  for (let at = offset; at < end; ) {
    const inside = parts.find((part) => at >= part.offset && at < part.offset + part.size);
    const next = inside
      ? inside.offset + inside.size
      : Math.min(...parts.map((part) => (part.offset > at ? part.offset : end)));
    const size = Math.min(end, next) - at;
    if (inside) take(inside.store, at - inside.offset, size, at - offset);
    else take(base, at, size, at - offset);
    at += size;
  }
}

function* stretches(size: number): Generator<readonly [at: number, length: number]> {
  for (let at = 0; at < size; at += PIECE) yield [at, Math.min(PIECE, size - at)];
}

function closeAll(stores: readonly FileStore[]): void {
  for (const store of stores) store.close();
}
