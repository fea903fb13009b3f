import { type DeviceClass, listClasses, readClass, type Workspace } from '../workspace/index.ts';

/** Classes that a signer is to sign for. */
export interface SignerScope {
  readonly classes: readonly DeviceClass[];
  readonly vendorWide: boolean;
}

/** The named classes; where none is named, the vendor's asymmetric classes and all that are still to come (trial workspaces only). */
export async function signerScope(workspace: Workspace, named: readonly string[]): Promise<SignerScope> {
  const vendorWide = named.length === 0;
  const names = vendorWide ? listClasses(workspace) : named;
  const classes = await Promise.all(names.map((className) => readClass(workspace, className)));
  return {
    classes: vendorWide ? classes.filter(({ scheme }) => scheme === 'asymmetric') : classes,
    vendorWide,
  };
}
