import type { ComponentIdentifier } from './components.ts';
import type { SectionName } from './manifest.ts';
import type { ParameterTypes } from './parameters.ts';
import type { IndexSelection } from './sequence.ts';
import type { TextInLanguage } from './text.ts';
import type { Version } from './version.ts';

/** A command to write: the mirror of what `readManifest` gives, without offsets. */
export interface CommandDescription {
  readonly code: number;
  readonly argument:
    | { readonly type: 'policy'; readonly policy: number }
    | { readonly type: 'index'; readonly selection: IndexSelection }
    | { readonly type: 'parameters'; readonly values: Partial<ParameterTypes> }
    | {
        readonly type: 'parameters-by-component';
        readonly values: ReadonlyMap<number, Partial<ParameterTypes>>;
      }
    | { readonly type: 'parameter-copies'; readonly codes: ReadonlyMap<number, readonly number[]> }
    | {
        readonly type: 'branches';
        readonly branches: readonly SequenceDescription[];
        readonly mayFail: boolean;
      }
    | { readonly type: 'sequence'; readonly sequence: SequenceDescription };
}
export type SequenceDescription = readonly CommandDescription[];

/** A manifest to write ([M] section 8.4). */
export interface ManifestDescription {
  readonly sequenceNumber: bigint | number;
  readonly components: readonly ComponentIdentifier[];
  /** Component indices that stand for the envelopes of other manifests ([TD] section 5.2.2). Default: none. */
  readonly dependencies?: ReadonlyMap<number, { readonly prefix?: ComponentIdentifier | undefined }>;
  /** Where a root manifest is to be stored ([TD] section 5.2.1). */
  readonly componentId?: ComponentIdentifier | undefined;
  readonly shared: SequenceDescription;
  readonly sequences: ReadonlyMap<SectionName, SequenceDescription>;
  readonly text?: ReadonlyMap<string, TextInLanguage> | undefined;
  readonly referenceUri?: string | undefined;
  readonly setVersion?: Version | undefined;
  /** A concise software identifier, encoded (RFC 9393; [UM] section 3.2). */
  readonly coswid?: Uint8Array | undefined;
  /** Elements to sever where they are long enough to be worth it ([M] section 8.6). */
  readonly sever: readonly (SectionName | 'text' | 'coswid')[];
}

/** A condition or directive with its reporting policy ([M] section 8.4.7). */
export const command = (code: number, policy: number): CommandDescription => ({
  code,
  argument: { type: 'policy', policy },
});

/** set-component-index ([M] section 8.4.10.1). */
export const setIndex = (selection: IndexSelection): CommandDescription => ({
  code: 12,
  argument: { type: 'index', selection },
});

/** override-parameters ([M] section 8.4.10.3): the one command that may set a digest (section 7, note). */
export const override = (values: Partial<ParameterTypes>): CommandDescription => ({
  code: 20,
  argument: { type: 'parameters', values },
});

/** try-each ([M] section 8.4.10.2). */
export const tryEach = (...branches: readonly SequenceDescription[]): CommandDescription => ({
  code: 15,
  argument: { type: 'branches', branches, mayFail: false },
});

const SET_INDEX = 12;

/** With more than one component each sequence begins by saying which ([M] section 6.2). */
export function indexed(sequence: SequenceDescription): SequenceDescription {
  return sequence.length === 0 || sequence[0]!.code === SET_INDEX ? sequence : [setIndex(0), ...sequence];
}
