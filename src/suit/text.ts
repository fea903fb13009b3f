import type { CborItem, CborMapping } from '../cbor/index.ts';
import { type ComponentIdentifier, readComponentIdentifier } from './components.ts';
import { SuitError } from './errors.ts';
import { asInteger, asMap, asText, decodeAt } from './read.ts';

/** What one language says ([M] section 8.4.4). Codes are rows of `TEXT_KEYS` and `COMPONENT_TEXT_KEYS`. */
export interface TextInLanguage {
  readonly manifest: ReadonlyMap<number, string>;
  readonly components: readonly {
    readonly identifier: ComponentIdentifier;
    readonly texts: ReadonlyMap<number, string>;
  }[];
}

const LANGUAGE_TAG = /^[a-zA-Z]{1,8}(-[a-zA-Z0-9]{1,8})*$/;

/**
 * Reads the text element for people, by language tag. A processor must not act on any of it ([UM] section 8), and
 * whoever shows it must not let it reach a terminal or page unescaped. Codes unknown to the tables are kept: the
 * draft leaves negative ones to applications. Throws `SuitError`.
 */
export function readText(content: Uint8Array, base = 0): ReadonlyMap<string, TextInLanguage> {
  const map = asMap(decodeAt(content, base), 'the text element', 'text');
  const languages = new Map<string, TextInLanguage>();
  for (const { key, value } of map.entries) {
    const tag = asText(key, 'a language tag', 'text');
    if (!LANGUAGE_TAG.test(tag)) {
      throw new SuitError(
        'text',
        key.start,
        'a language tag is letters, then groups after hyphens ([M] 8.4.4)',
      );
    }
    languages.set(tag, readLanguage(asMap(value, 'the text of a language', 'text')));
  }
  return languages;
}

function readLanguage(map: CborMapping): TextInLanguage {
  const manifest = new Map<number, string>();
  const components: { identifier: ComponentIdentifier; texts: ReadonlyMap<number, string> }[] = [];
  for (const { key, value } of map.entries) {
    if (key.type === 'array') {
      const texts = asMap(value, 'the text of a component', 'text');
      components.push({ identifier: readComponentIdentifier(key), texts: readTexts(texts) });
    } else manifest.set(asInteger(key, 'the key of a text', 'text'), asText(value, 'a text', 'text'));
  }
  return { manifest, components };
}

function readTexts(map: CborMapping): ReadonlyMap<number, string> {
  return new Map(
    map.entries.map(({ key, value }: { key: CborItem; value: CborItem }) => [
      asInteger(key, 'the key of a text', 'text'),
      asText(value, 'a text', 'text'),
    ]),
  );
}
