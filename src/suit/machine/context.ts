import { toHex } from '../../bytes/index.ts';
import type { ComponentIdentifier } from '../components.ts';
import type { SuitDigest } from '../digest.ts';
import type { Manifest, SectionName } from '../manifest.ts';
import type { ParameterValue } from '../parameters.ts';
import type { TargetComponent } from './host.ts';

const SOURCE_COMPONENT = 22;

/** A component of one manifest, and its parameters: shared with every manifest that names the same component. */
export interface Slot {
  readonly component: TargetComponent;
  readonly parameters: Store;
  /** Tells components apart over all manifests of a procedure; not needed where there is only one manifest. */
  readonly name: string;
}

/** Parameters of one component, and whose list of components an index among them counts in. */
export class Store {
  readonly values = new Map<number, ParameterValue>();
  private source: Slot | undefined;

  /** Sets a parameter; one that points at a component remembers which, not only its number. */
  set(code: number, value: ParameterValue, context: Context): void {
    this.values.set(code, value);
    if (code === SOURCE_COMPONENT) this.source = context.slots[value as number];
  }

  /** Makes the source component count in the list of `context`; false where it does not list that component. */
  settleSource(context: Context): boolean {
    const { source } = this;
    if (!source || context.slots[source.component.index] === source) return true;
    const own = context.slots.find((slot) => slot.name === source.name);
    if (own) this.set(SOURCE_COMPONENT, own.component.index, context);
    return own !== undefined;
  }
}

/** Parameters by name of component, over all manifests of a procedure. */
export type Stores = Map<string, Store>;

/** One manifest while a procedure runs. */
export class Context {
  /** Read anew with each check of its integrity: the same manifest, perhaps with other severed parts. */
  manifest: Manifest;
  /** Component indices that lead to it from the root manifest. */
  readonly path: readonly number[];
  readonly slots: readonly Slot[];
  /** Dependencies whose integrity was checked here and that were not overwritten since, by component index. */
  private checked: Map<number, Context> | undefined;
  /** Sections that had their turn; not kept where there is only one manifest. */
  private readonly done: Set<SectionName> | undefined;
  private readonly stores: Stores | undefined;
  private met: Map<string, Context> | undefined;

  constructor(
    manifest: Manifest,
    known?: Stores,
    path: readonly number[] = [],
    scope: ComponentIdentifier = [],
  ) {
    this.manifest = manifest;
    this.path = path;
    const alone = path.length === 0 && manifest.dependencies.size === 0;
    const stores = alone ? undefined : (known ?? new Map<string, Store>());
    this.stores = stores;
    this.done = stores && new Set();
    const issuer = { manifest, path };
    const seen = stores && new Map<string, number>();
    this.slots = manifest.targets.map((target, index) => {
      const identifier = within(scope, target.identifier);
      const { dependency } = target;
      const component = { index, identifier, dependency, scope: within(scope, target.scope), issuer };
      if (!stores || !seen) return { component, name: '', parameters: new Store() };
      const name = nameOf(identifier, seen);
      return { component, name, parameters: storeFor(stores, name) };
    });
  }

  /** Notes a dependency as checked. The same manifest again goes on where it was. */
  enter(index: number, manifest: Manifest, digest: SuitDigest): Context {
    const id = `${index} ${toHex(digest.bytes)}`;
    const { scope } = this.slots[index]!.component;
    this.met ??= new Map();
    const known = this.met.get(id);
    const same = known?.slots.length === manifest.targets.length;
    const child = same ? known : new Context(manifest, this.stores, [...this.path, index], scope);
    child.manifest = manifest;
    this.met.set(id, child);
    this.checked ??= new Map();
    this.checked.set(index, child);
    return child;
  }

  /** The dependency with this component index, where it was checked and not overwritten since. */
  dependency(index: number): Context | undefined {
    return this.checked?.get(index);
  }

  /** Forgets that a dependency was checked. */
  forget(index: number): void {
    this.checked?.delete(index);
  }

  /** Notes that a section had its turn. */
  finished(section: SectionName): void {
    this.done?.add(section);
  }

  /** The value of a parameter as this manifest counts components; undefined where there is none. */
  valueOf(index: number, code: number): ParameterValue | undefined {
    const store = this.slots[index]!.parameters;
    if (code === SOURCE_COMPONENT && !store.settleSource(this)) return undefined;
    return store.values.get(code);
  }

  /** Forgets what was checked about a component that is written to ([TD] section 5.6.4); dependencies forget too. */
  overwritten(name: string): void {
    if (!this.checked) return;
    for (const [index, child] of this.checked) {
      child.overwritten(name);
      if (this.slots[index]!.name === name) this.checked.delete(index);
    }
  }

  /**
   * [TD] section 5.1: each checked dependency had its turn in every section that this manifest had its own, whether
   * this manifest says anything in it or not. The first that had not.
   */
  unprocessed(): { readonly index: number; readonly section: SectionName } | undefined {
    if (!this.checked || !this.done) return undefined;
    for (const [index, child] of this.checked) {
      for (const section of this.done) {
        if (section === 'uninstall' || child.done?.has(section)) continue;
        if (child.manifest.sequences.has(section)) return { index, section };
      }
    }
    return undefined;
  }
}

function within(scope: ComponentIdentifier, identifier: ComponentIdentifier): ComponentIdentifier {
  return scope.length === 0 ? identifier : [...scope, ...identifier];
}

function storeFor(stores: Stores, name: string): Store {
  const known = stores.get(name);
  if (known) return known;
  const store = new Store();
  stores.set(name, store);
  return store;
}

/** A manifest may list a component twice: each time it has parameters of its own. */
function nameOf(identifier: ComponentIdentifier, seen: Map<string, number>): string {
  const text = `${identifier.length}:${identifier.map(toHex).join('.')}`;
  const times = seen.get(text) ?? 0;
  seen.set(text, times + 1);
  return `${text}#${times}`;
}
