import type { CborItem } from '../cbor/index.ts';
import { ReportError } from './error.ts';
import { REPORT_LIMITS } from './limits.ts';
import { bytesOf, integerOf, listOf, wrong } from './read-item.ts';
import type { Capabilities } from './report.ts';
import { CAPABILITY_ELEMENTS } from './tables.ts';

const COMPONENTS = 1;
const REQUIRED = [1, 2, 3, 4];

/** Reads a SUIT_Capability_Report ([RPT] section 6). Throws `ReportError`. */
export function readCapabilities(item: CborItem): Capabilities {
  if (item.type !== 'map') throw wrong(item, 'a capability report', 'a map');
  const present = item.entries.map(({ key }) => (key.type === 'uint' ? key.value : undefined));
  const missing = REQUIRED.find((key) => !present.includes(key));
  if (missing !== undefined) {
    const { name } = CAPABILITY_ELEMENTS.get(missing)!;
    throw new ReportError(
      'element-missing',
      item.start,
      `a capability report without ${name} (element ${missing})`,
    );
  }
  const components: Capabilities['components'][number][] = [];
  const lists: Capabilities['lists'][number][] = [];
  for (const { key, value } of item.entries) {
    const entries = listOf(value, 'a list of capabilities', REPORT_LIMITS.capabilities, 1);
    if (key.type === 'uint' && key.value === COMPONENTS) components.push(...entries.map(readComponent));
    else lists.push({ key: readKey(key), codes: entries.map((each) => integerOf(each, 'a capability')) });
  }
  return { components, lists };
}

/** A registered element, or the path of keys to one that is not ([RPT] section 6). */
function readKey(item: CborItem): number | readonly number[] {
  if (item.type === 'array') {
    return listOf(item, 'a path of keys', REPORT_LIMITS.manifestDepth, 1).map((step) =>
      integerOf(step, 'a key of a path'),
    );
  }
  const key = integerOf(item, 'a key of a capability report');
  if (CAPABILITY_ELEMENTS.has(key)) return key;
  throw new ReportError(
    'element-unknown',
    item.start,
    `a capability report holds element ${key}, which nobody registered`,
  );
}

function readComponent(item: CborItem): Capabilities['components'][number] {
  const parts = listOf(item, 'a component capability', REPORT_LIMITS.manifestDepth);
  const last = parts.at(-1);
  const prefix = last?.type === 'simple' && last.value === true;
  const segments = prefix ? parts.slice(0, -1) : parts;
  return { identifier: segments.map((segment) => bytesOf(segment, 'a segment of a component')), prefix };
}
