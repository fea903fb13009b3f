import { type Row, tableOf } from './row.ts';

/** How an envelope or manifest element is encoded. */
export type ElementType =
  | 'authentication'
  | 'manifest'
  | 'uint'
  | 'common'
  | 'text-string'
  | 'component-identifier'
  | 'version'
  | 'sequence'
  | 'text-map'
  | 'opaque';

export interface ElementRow extends Row {
  readonly type: ElementType;
  /** May stand in the envelope while the manifest keeps its digest ([M] section 8.6). */
  readonly severable: boolean;
}

const element = (
  code: number,
  name: string,
  type: ElementType,
  source: string,
  more: Partial<Pick<ElementRow, 'severable' | 'support'>> = {},
): ElementRow => ({ code, name, type, severable: false, support: 'runs', source, ...more });

const SEVERABLE = { severable: true };
const DEPENDENCIES = { support: 'dependencies' } as const;

/** Elements of the envelope by integer key ([M] sections 8.2 and 11.1). Text keys are integrated payloads (7.5). */
export const ENVELOPE_KEYS = tableOf<ElementRow>([
  element(2, 'authentication-wrapper', 'authentication', '[M] 8.3'),
  element(3, 'manifest', 'manifest', '[M] 8.4'),
  element(14, 'coswid', 'opaque', '[UM] 3.2', SEVERABLE),
  element(15, 'dependency-resolution', 'sequence', '[TD] 9.1', { ...SEVERABLE, ...DEPENDENCIES }),
  element(16, 'payload-fetch', 'sequence', '[M] 8.4.6', SEVERABLE),
  element(18, 'candidate-verification', 'sequence', '[TD] 9.1', { ...SEVERABLE, ...DEPENDENCIES }),
  element(20, 'install', 'sequence', '[M] 8.4.6', SEVERABLE),
  element(23, 'text', 'text-map', '[M] 8.4.4', SEVERABLE),
]);

/** Elements of the manifest ([M] sections 8.4 and 11.2). */
export const MANIFEST_KEYS = tableOf<ElementRow>([
  element(1, 'manifest-version', 'uint', '[M] 8.4.1'),
  element(2, 'manifest-sequence-number', 'uint', '[M] 8.4.2'),
  element(3, 'common', 'common', '[M] 8.4.5'),
  element(4, 'reference-uri', 'text-string', '[M] 8.4.3'),
  element(5, 'manifest-component-id', 'component-identifier', '[TD] 5.2.1', DEPENDENCIES),
  element(6, 'set-version', 'version', '[UM] 3.1'),
  element(7, 'validate', 'sequence', '[M] 8.4.6'),
  element(8, 'load', 'sequence', '[M] 8.4.6'),
  element(9, 'invoke', 'sequence', '[M] 8.4.6'),
  element(14, 'coswid', 'opaque', '[UM] 3.2', SEVERABLE),
  element(15, 'dependency-resolution', 'sequence', '[TD] 9.2', { ...SEVERABLE, ...DEPENDENCIES }),
  element(16, 'payload-fetch', 'sequence', '[M] 8.4.6', SEVERABLE),
  element(18, 'candidate-verification', 'sequence', '[TD] 9.2', DEPENDENCIES),
  element(20, 'install', 'sequence', '[M] 8.4.6', SEVERABLE),
  element(23, 'text', 'text-map', '[M] 8.4.4', SEVERABLE),
  element(24, 'uninstall', 'sequence', '[TD] 9.2', DEPENDENCIES),
]);

/** Elements of the common map ([M] sections 8.4.5 and 11.3). */
export const COMMON_KEYS = tableOf<Row>([
  { code: 1, name: 'dependencies', support: 'dependencies', source: '[TD] 5.2' },
  { code: 2, name: 'components', support: 'runs', source: '[M] 8.4.5' },
  { code: 4, name: 'shared-sequence', support: 'runs', source: '[M] 8.4.5' },
]);

/** Digest algorithms of SUIT_Digest, by COSE algorithm id ([M] section 10). Only SHA-256 is mandatory. */
export interface DigestRow extends Row {
  readonly lengthBytes: number;
}
export const DIGEST_ALGORITHMS = tableOf<DigestRow>([
  { code: -16, name: 'SHA-256', lengthBytes: 32, support: 'runs', source: '[M] 10; RFC 9054 2.1' },
  { code: -18, name: 'SHAKE128', lengthBytes: 32, support: 'named', source: '[M] 10; RFC 9054 2.3' },
  { code: -43, name: 'SHA-384', lengthBytes: 48, support: 'named', source: '[M] 10; RFC 9054 2.1' },
  { code: -44, name: 'SHA-512', lengthBytes: 64, support: 'named', source: '[M] 10; RFC 9054 2.1' },
  { code: -45, name: 'SHAKE256', lengthBytes: 64, support: 'named', source: '[M] 10; RFC 9054 2.3' },
]);
