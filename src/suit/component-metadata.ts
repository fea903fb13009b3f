import { type CborItem, CborMap, CborTag, type CborValue } from '../cbor/index.ts';
import { SuitError } from './errors.ts';
import { asInteger, asMap, asUint } from './read.ts';

/** Who is meant: a user name, a number, bytes, or a UUID under tag 37 ([UM] section 4.6.1). */
export type ActorId = string | number | Uint8Array | { readonly uuid: Uint8Array };

/** Rights of one actor: bits 0 to 13 ([UM] section 4.6.3). */
export interface ActorPermissions {
  readonly actor: ActorId;
  readonly permissions: number;
}

export const FILE_TYPES = ['regular', 'directory', 'symlink'] as const;
export type FileType = (typeof FILE_TYPES)[number];

/** File metadata of a component, applied as it is fetched, copied into or written ([UM] section 4.6). */
export interface ComponentMetadata {
  readonly defaultPermissions?: number;
  readonly userPermissions?: readonly ActorPermissions[];
  readonly groupPermissions?: readonly ActorPermissions[];
  readonly rolePermissions?: readonly ActorPermissions[];
  readonly fileType?: FileType;
  /** Seconds since 1970-01-01. */
  readonly modificationTime?: bigint;
  readonly creationTime?: bigint;
  readonly creator?: ActorId;
}

interface Field {
  readonly name: keyof ComponentMetadata;
  read(item: CborItem): unknown;
  /** Given what `read` gives. */
  write(value: never): CborValue;
}

const PERMISSIONS: Omit<Field, 'name'> = { read: readPermissions, write: (value: number) => value };
const PERMISSION_MAP: Omit<Field, 'name'> = { read: readPermissionMap, write: permissionMapValue };
const TIME: Omit<Field, 'name'> = { read: readTime, write: (value: bigint) => new CborTag(1, value) };

/** Keys of SUIT_Component_Metadata ([UM] Appendix A). */
const FIELDS: ReadonlyMap<number, Field> = new Map<number, Field>([
  [1, { name: 'defaultPermissions', ...PERMISSIONS }],
  [2, { name: 'userPermissions', ...PERMISSION_MAP }],
  [3, { name: 'groupPermissions', ...PERMISSION_MAP }],
  [4, { name: 'rolePermissions', ...PERMISSION_MAP }],
  [5, { name: 'fileType', read: readFileType, write: (value: FileType) => FILE_TYPES.indexOf(value) + 1 }],
  [6, { name: 'modificationTime', ...TIME }],
  [7, { name: 'creationTime', ...TIME }],
  [8, { name: 'creator', read: readActor, write: actorValue }],
]);

/** SUIT_Component_Metadata. Throws `SuitError`. */
export function readComponentMetadata(item: CborItem): ComponentMetadata {
  const found = asMap(item, 'component metadata', 'parameter-type').entries.map(({ key, value }) => {
    const field = key.type === 'uint' ? FIELDS.get(Number(key.value)) : undefined;
    if (field) return [field.name, field.read(value)];
    throw new SuitError('parameter-unknown', key.start, 'component metadata of an unknown kind ([UM] 4.6)');
  });
  return Object.fromEntries(found) as ComponentMetadata;
}

/** Component metadata as CBOR: the map that `readComponentMetadata` reads. */
export function componentMetadataValue(metadata: ComponentMetadata): CborMap {
  const entries: [CborValue, CborValue][] = [];
  for (const [code, field] of FIELDS) {
    const value = metadata[field.name];
    if (value !== undefined) entries.push([code, field.write(value as never)]);
  }
  return new CborMap(entries);
}

const HIGHEST_PERMISSIONS = 2 ** 14 - 1;

function readPermissions(item: CborItem): number {
  const permissions = asUint(item, 'permissions', 'parameter-type');
  if (permissions <= HIGHEST_PERMISSIONS) return permissions;
  throw wrong(item, 'permissions have 14 bits ([UM] section 4.6.3)');
}

function readPermissionMap(item: CborItem): ActorPermissions[] {
  const { entries } = asMap(item, 'a map of permissions', 'parameter-type');
  if (entries.length === 0) throw wrong(item, 'a map of permissions names one actor at least ([UM] 4.6.4)');
  return entries.map(({ key, value }) => ({ actor: readActor(key), permissions: readPermissions(value) }));
}

function permissionMapValue(all: readonly ActorPermissions[]): CborMap {
  return new CborMap(
    all.map(({ actor, permissions }): [CborValue, CborValue] => [actorValue(actor), permissions]),
  );
}

function readFileType(item: CborItem): FileType {
  const type = FILE_TYPES[asUint(item, 'a file type', 'parameter-type') - 1];
  if (type) return type;
  throw wrong(item, 'a file type is 1, 2 or 3 ([UM] Appendix A)');
}

function readTime(item: CborItem): bigint {
  if (item.type === 'tag' && item.tag === 1 && item.item.type === 'uint') return BigInt(item.item.value);
  throw wrong(item, 'a time is tag 1 with whole seconds ([UM] section 4.6.2)');
}

/** Text of letters, marks, numbers, punctuation, symbols and spaces, nothing that could upset a terminal. */
const PLAIN_TEXT = /^[\p{L}\p{M}\p{N}\p{P}\p{S}\p{Zs}]*$/u;
const UUID_TAG = 37;

function readActor(item: CborItem): ActorId {
  if (item.type === 'text' && PLAIN_TEXT.test(item.value)) return item.value;
  if (item.type === 'bytes') return item.value;
  if (item.type === 'tag' && item.tag === UUID_TAG && item.item.type === 'bytes') {
    return { uuid: item.item.value };
  }
  if (item.type === 'uint' || item.type === 'nint') return asInteger(item, 'an actor', 'parameter-type');
  throw wrong(item, 'an actor is a plain text, a number, bytes, or a UUID under tag 37 ([UM] 4.6.1)');
}

function actorValue(actor: ActorId): CborValue {
  if (typeof actor !== 'object' || actor instanceof Uint8Array) return actor;
  return new CborTag(UUID_TAG, actor.uuid);
}

function wrong(item: CborItem, message: string): SuitError {
  return new SuitError('parameter-type', item.start, message);
}
