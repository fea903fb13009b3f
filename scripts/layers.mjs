// Imports point one way: a room may use the rooms above it in this list, never one below. Exits 1 otherwise.
import { readdirSync, readFileSync } from 'node:fs';
import { dirname, join, normalize, relative, sep } from 'node:path';

const ROOMS = [
  'bytes',
  'crypto',
  'cbor',
  'cose',
  'suit',
  'x509',
  'image',
  'delta',
  'unit',
  'report',
  'attestation',
  'keys',
  'virtual',
  'workspace',
  'authority',
  'release',
  'provision',
  'verifier',
  'rehearsal',
  'plan',
  'incident',
  'evidence',
  'broadcast',
  'fleet',
  'monitoring',
  'answers',
  'server',
  'cli',
];
// Neighbours that stand above a room in the list and still must stay unknown to it (design: what each room knows nothing of).
const STRANGERS = {
  x509: ['suit', 'cose', 'cbor'],
  image: ['crypto', 'cbor', 'cose', 'suit', 'x509'],
  delta: ['crypto', 'cbor', 'cose', 'suit', 'x509', 'image'],
  keys: ['suit', 'unit'],
};

const faults = [];
for (const file of readdirSync('src', { recursive: true, encoding: 'utf8' }).filter((name) =>
  name.endsWith('.ts'),
)) {
  const path = join('src', file);
  const room = file.split(sep)[0];
  if (!ROOMS.includes(room))
    faults.push(`${path}: the room ${room} is not in the list of scripts/layers.mjs`);
  for (const target of importsOf(readFileSync(path, 'utf8'))) judge(path, room, target);
}
for (const fault of faults) console.error(fault);
console.log(
  `layers: ${faults.length === 0 ? 'imports point one way' : `${faults.length} imports point the wrong way`}`,
);
process.exitCode = faults.length === 0 ? 0 : 1;

function importsOf(text) {
  return [...text.matchAll(/(?:from|import)\s*\(?\s*'(\.[^']*)'/g)].map((match) => match[1]);
}

function judge(path, room, target) {
  const other = relative('src', normalize(join(dirname(path), target))).split(sep)[0];
  if (other === room) return;
  if (!ROOMS.includes(other)) faults.push(`${path}: imports ${target}, outside src`);
  else if (ROOMS.indexOf(other) > ROOMS.indexOf(room))
    faults.push(`${path}: ${room} may not import ${other}`);
  else if (STRANGERS[room]?.includes(other)) faults.push(`${path}: ${room} knows nothing of ${other}`);
  else if (!target.endsWith(`${other}/index.ts`))
    faults.push(`${path}: reach ${other} through its index.ts, not ${target}`);
}
