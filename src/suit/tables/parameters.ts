import { type Row, tableOf } from './row.ts';

/** How a parameter's value is encoded. */
export type ParameterType =
  /** 16-byte UUID, or tag 112 around a private enterprise number ([M] section 8.4.8.3). */
  | 'vendor'
  | 'uuid'
  /** Byte string wrapping a SUIT_Digest. */
  | 'digest'
  /** Unsigned integer that counts or points: at most 2^53 - 1 here. */
  | 'uint'
  /** Unsigned integer of up to 64 bits. */
  | 'uint64'
  | 'int'
  | 'bool'
  | 'bytes'
  | 'text'
  /** Index into the component list. */
  | 'component'
  /** Byte string wrapping a comparison and a version ([UM] section 4.4). */
  | 'version-match'
  /** Byte string wrapping a COSE_Encrypt with tag 96 ([FE] section 4). */
  | 'encryption-info'
  /** Byte string wrapping a map of events ([UM] section 4.5). */
  | 'wait-info'
  /** Byte string wrapping file metadata ([UM] section 4.6). */
  | 'component-metadata'
  /** Byte string wrapping how a delta is applied (docs/deployment-profile.md). */
  | 'delta-info';

export interface ParameterRow extends Row {
  readonly type: ParameterType;
  /** Belongs to a component, or to the processor itself ([M] section 8.4.8). */
  readonly scope: 'component' | 'processor';
}

type Brief = Pick<ParameterRow, 'code' | 'name' | 'type' | 'source'> & Partial<ParameterRow>;

const parameter = (row: Brief): ParameterRow => ({ scope: 'component', support: 'runs', ...row });

/** Parameters ([M] section 11.5, Appendix A, the extensions' registrations, and one custom code of ours). */
export const PARAMETERS = tableOf<ParameterRow>([
  parameter({ code: 1, name: 'parameter-vendor-identifier', type: 'vendor', source: '[M] 8.4.8.3' }),
  parameter({ code: 2, name: 'parameter-class-identifier', type: 'uuid', source: '[M] 8.4.8.4' }),
  parameter({ code: 3, name: 'parameter-image-digest', type: 'digest', source: '[M] 8.4.8.6' }),
  parameter({ code: 4, name: 'parameter-use-before', type: 'uint64', source: '[UM] 4.1' }),
  parameter({ code: 5, name: 'parameter-component-slot', type: 'uint', source: '[M] 8.4.8.8' }),
  parameter({
    code: 12,
    name: 'parameter-strict-order',
    type: 'bool',
    scope: 'processor',
    source: '[M] 8.4.8.14',
  }),
  parameter({
    code: 13,
    name: 'parameter-soft-failure',
    type: 'bool',
    scope: 'processor',
    source: '[M] 8.4.8.15',
  }),
  parameter({ code: 14, name: 'parameter-image-size', type: 'uint', source: '[M] 8.4.8.7' }),
  parameter({ code: 18, name: 'parameter-content', type: 'bytes', source: '[M] 8.4.8.9' }),
  parameter({
    code: 19,
    name: 'parameter-encryption-info',
    type: 'encryption-info',
    support: 'encryption',
    source: '[FE] 4',
  }),
  parameter({ code: 21, name: 'parameter-uri', type: 'text', source: '[M] 8.4.8.10' }),
  parameter({ code: 22, name: 'parameter-source-component', type: 'component', source: '[M] 8.4.8.11' }),
  parameter({ code: 23, name: 'parameter-invoke-args', type: 'bytes', source: '[M] 8.4.8.12' }),
  parameter({ code: 24, name: 'parameter-device-identifier', type: 'uuid', source: '[M] 8.4.8.5' }),
  parameter({
    code: 25,
    name: 'parameter-fetch-arguments',
    type: 'bytes',
    support: 'fetch-arguments',
    source: '[M] 8.4.8.13',
  }),
  parameter({ code: 26, name: 'parameter-minimum-battery', type: 'uint', source: '[UM] 4.2' }),
  parameter({ code: 27, name: 'parameter-update-priority', type: 'int', source: '[UM] 4.3' }),
  parameter({ code: 28, name: 'parameter-version', type: 'version-match', source: '[UM] 4.4' }),
  parameter({
    code: 29,
    name: 'parameter-wait-info',
    type: 'wait-info',
    support: 'wait',
    source: '[UM] 4.5',
  }),
  parameter({
    code: 30,
    name: 'parameter-component-metadata',
    type: 'component-metadata',
    support: 'component-metadata',
    source: '[UM] 4.6',
  }),
  parameter({
    code: -257,
    name: 'parameter-delta-info',
    type: 'delta-info',
    support: 'delta',
    source: '[M] 8.4.8.16; docs/deployment-profile.md 14',
  }),
]);
