import type { KeyType } from '../crypto/index.ts';
import type { Workspace } from '../workspace/index.ts';
import type { SignerPurpose } from '../x509/index.ts';

/** What a step has made, exactly: its command is written from it, and whoever does the step otherwise makes the same. */
export type Making =
  | {
      readonly what: 'signer';
      readonly purpose: SignerPurpose;
      readonly classes: readonly string[];
      /** Name of the root that certifies it. */
      readonly root: string;
      /** Undefined: the first. */
      readonly generation: number | undefined;
      readonly type: KeyType;
    }
  | { readonly what: 'spare-root' }
  | { readonly what: 'cohort-key'; readonly className: string }
  | { readonly what: 'revocation-list'; readonly root: string };

/** The command that makes it, with NAME, COHORT, URI or FILE where a person decides. */
export function makingCommand(making: Making, { kind }: Workspace): string {
  const custody = kind === 'production' ? ' --token URI' : '';
  switch (making.what) {
    case 'signer':
      return `fieldseal signer create NAME${signerOptions(making)}${custody}`;
    case 'spare-root':
      return `fieldseal root create --spare --name NAME${custody}`;
    case 'cohort-key':
      return `fieldseal cohort-key create ${making.className} COHORT`;
    case 'revocation-list':
      return `fieldseal revocation-list make --root ${making.root} --out FILE`;
  }
}

function signerOptions({
  purpose,
  classes,
  root,
  generation,
  type,
}: Extract<Making, { what: 'signer' }>): string {
  return [
    ...(purpose === 'release' ? [] : ['--purpose', purpose]),
    ...classes.flatMap((name) => ['--class', name]),
    ...['--root', root],
    ...(generation === undefined ? [] : ['--generation', String(generation)]),
    ...(type === 'p256' ? [] : ['--algorithm', type]),
  ]
    .map((word) => ` ${word}`)
    .join('');
}
