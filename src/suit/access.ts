import type { ComponentIdentifier } from './components.ts';
import type { Manifest } from './manifest.ts';
import type { Parameters } from './parameters.ts';
import type { Command, IndexSelection, Sequence } from './sequence.ts';

/** What a manifest may do to one component ([M] section 9). Codes are rows of `COMMANDS` and `PARAMETERS`. */
export interface ComponentAccess {
  readonly index: number;
  /** With the prefixes of the dependencies that lead to it. */
  readonly identifier: ComponentIdentifier;
  readonly commands: ReadonlySet<number>;
  readonly parameters: ReadonlySet<number>;
}

export interface ManifestAccess {
  readonly components: readonly ComponentAccess[];
  /** False where a severed section is missing: what it does is not known. */
  readonly complete: boolean;
}

interface Found {
  readonly commands: Set<number>;
  readonly parameters: Set<number>;
}

/**
 * Everything that a manifest could do to each component, before any of it runs: what an access control list is judged
 * against ([M] section 9, [TD] section 5.1). Errs towards more: after branches, every index they could leave behind
 * counts. What dependencies do is theirs: ask again for each. `scope` goes before the identifiers of the manifest's
 * components: `TargetComponent.scope` for a dependency.
 */
export function accessOf(manifest: Manifest, scope: ComponentIdentifier = []): ManifestAccess {
  const survey = new Survey(manifest);
  let complete = true;
  if (manifest.shared) survey.walk(manifest.shared, FIRST);
  for (const section of manifest.sequences.values()) {
    if ('value' in section) survey.walk(section.value, FIRST);
    else complete = false;
  }
  const components = manifest.targets.map(({ identifier }, index) => ({
    index,
    identifier: [...scope, ...identifier],
    ...survey.found[index]!,
  }));
  return { components, complete };
}

type Indices = ReadonlySet<number>;
const FIRST: Indices = new Set([0]);

class Survey {
  readonly found: readonly Found[];

  constructor(manifest: Manifest) {
    this.found = manifest.targets.map(() => ({ commands: new Set(), parameters: new Set() }));
  }

  /** Notes what a sequence does from any of these indices on; gives the indices it may leave. */
  walk(sequence: Sequence, from: Indices): Indices {
    let at = from;
    for (const command of sequence.commands) at = this.note(command, at);
    return at;
  }

  private note({ row, argument }: Command, at: Indices): Indices {
    switch (argument.type) {
      case 'index':
        return this.selected(argument.selection);
      case 'parameters':
        this.sets(row.code, argument.values, at);
        return at;
      case 'parameters-by-component': {
        for (const [index, values] of argument.values) this.sets(row.code, values, new Set([index]));
        return new Set([[...argument.values.keys()].at(-1)!]);
      }
      case 'parameter-copies': {
        const codes = [...argument.codes.values()].flat();
        for (const index of at) {
          this.found[index]!.commands.add(row.code);
          for (const code of codes) this.found[index]!.parameters.add(code);
        }
        return at;
      }
      case 'branches':
        return union(at, ...argument.branches.map((branch) => this.walk(branch, at)));
      case 'sequence':
        return union(at, this.walk(argument.sequence, at));
      default:
        for (const index of at) this.found[index]!.commands.add(row.code);
        return at;
    }
  }

  private selected(selection: IndexSelection): Indices {
    if (selection === true) return new Set(this.found.keys());
    return new Set(typeof selection === 'number' ? [selection] : selection);
  }

  private sets(command: number, values: Parameters, at: Indices): void {
    for (const index of at) {
      this.found[index]!.commands.add(command);
      for (const code of values.keys()) this.found[index]!.parameters.add(code);
    }
  }
}

function union(...sets: readonly Indices[]): Indices {
  return new Set(sets.flatMap((each) => [...each]));
}
