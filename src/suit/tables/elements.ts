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

/** Elements of the envelope by integer key ([M] sections 8.2 and 11.1). Text keys are integrated payloads (7.5). */
export const ENVELOPE_KEYS = tableOf<ElementRow>([
  {
    code: 2,
    name: 'authentication-wrapper',
    type: 'authentication',
    severable: false,
    support: 'runs',
    source: '[M] 8.3',
  },
  { code: 3, name: 'manifest', type: 'manifest', severable: false, support: 'runs', source: '[M] 8.4' },
  { code: 14, name: 'coswid', type: 'opaque', severable: true, support: 'runs', source: '[UM] 3.2' },
  {
    code: 15,
    name: 'dependency-resolution',
    type: 'sequence',
    severable: true,
    support: 'named',
    source: '[TD] 9.1',
  },
  {
    code: 16,
    name: 'payload-fetch',
    type: 'sequence',
    severable: true,
    support: 'runs',
    source: '[M] 8.4.6',
  },
  {
    code: 18,
    name: 'candidate-verification',
    type: 'sequence',
    severable: true,
    support: 'named',
    source: '[TD] 9.1',
  },
  { code: 20, name: 'install', type: 'sequence', severable: true, support: 'runs', source: '[M] 8.4.6' },
  { code: 23, name: 'text', type: 'text-map', severable: true, support: 'runs', source: '[M] 8.4.4' },
]);

/** Elements of the manifest ([M] sections 8.4 and 11.2). */
export const MANIFEST_KEYS = tableOf<ElementRow>([
  { code: 1, name: 'manifest-version', type: 'uint', severable: false, support: 'runs', source: '[M] 8.4.1' },
  {
    code: 2,
    name: 'manifest-sequence-number',
    type: 'uint',
    severable: false,
    support: 'runs',
    source: '[M] 8.4.2',
  },
  { code: 3, name: 'common', type: 'common', severable: false, support: 'runs', source: '[M] 8.4.5' },
  {
    code: 4,
    name: 'reference-uri',
    type: 'text-string',
    severable: false,
    support: 'runs',
    source: '[M] 8.4.3',
  },
  {
    code: 5,
    name: 'manifest-component-id',
    type: 'component-identifier',
    severable: false,
    support: 'named',
    source: '[TD] 5.2.1',
  },
  { code: 6, name: 'set-version', type: 'version', severable: false, support: 'runs', source: '[UM] 3.1' },
  { code: 7, name: 'validate', type: 'sequence', severable: false, support: 'runs', source: '[M] 8.4.6' },
  { code: 8, name: 'load', type: 'sequence', severable: false, support: 'runs', source: '[M] 8.4.6' },
  { code: 9, name: 'invoke', type: 'sequence', severable: false, support: 'runs', source: '[M] 8.4.6' },
  { code: 14, name: 'coswid', type: 'opaque', severable: true, support: 'runs', source: '[UM] 3.2' },
  {
    code: 15,
    name: 'dependency-resolution',
    type: 'sequence',
    severable: true,
    support: 'named',
    source: '[TD] 9.2',
  },
  {
    code: 16,
    name: 'payload-fetch',
    type: 'sequence',
    severable: true,
    support: 'runs',
    source: '[M] 8.4.6',
  },
  {
    code: 18,
    name: 'candidate-verification',
    type: 'sequence',
    severable: false,
    support: 'named',
    source: '[TD] 9.2',
  },
  { code: 20, name: 'install', type: 'sequence', severable: true, support: 'runs', source: '[M] 8.4.6' },
  { code: 23, name: 'text', type: 'text-map', severable: true, support: 'runs', source: '[M] 8.4.4' },
  { code: 24, name: 'uninstall', type: 'sequence', severable: false, support: 'named', source: '[TD] 9.2' },
]);

/** Elements of the common map ([M] sections 8.4.5 and 11.3). */
export const COMMON_KEYS = tableOf<Row>([
  { code: 1, name: 'dependencies', support: 'named', source: '[TD] 5.2' },
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
