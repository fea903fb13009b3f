import { randomUUID } from 'node:crypto';
import { join, resolve } from 'node:path';
import { formatUuid, vendorId } from '../suit/index.ts';
import { WorkspaceError } from './errors.ts';
import { filesOn } from './files.ts';
import { appendEntry } from './ledger.ts';
import type { WorkspaceFile } from './schema.ts';
import { makeWorkspace, WORKSPACE_FILE, type Workspace, type WorkspacePorts } from './workspace.ts';

/** What a new workspace is made from. */
export interface InitOptions extends WorkspacePorts {
  /** Domain name of the vendor, e.g. hollinridge.example. */
  vendorDomain: string;
  /** A production workspace; without it, everything made in the workspace is marked as trial. */
  production?: boolean;
}

const LABEL = /^(?!-)[a-z0-9-]{1,63}(?<!-)$/;
/** Folders of records that every workspace has. */
export const FOLDERS = [
  'classes',
  'keys',
  'certificates',
  'requests',
  'releases',
  'units',
  'ledger',
  'ceremonies',
  'batches',
  'trust-updates',
];
const PRIVATE_FOLDERS = ['private/keys', 'private/counters', 'private/ledger'];

/**
 * Makes a workspace in a folder that is empty or not there yet. The folder is fit for git; what must not be
 * carried by git lies in private/. Throws `WorkspaceError` not-empty, wrong-value and disk trouble.
 */
export function initWorkspace(folder: string, options: InitOptions): Workspace {
  const root = resolve(folder);
  const files = filesOn(options.disk);
  const now = options.now ?? (() => new Date());
  const facts = factsOf(options, now());
  requireEmpty(files.list(root), folder);
  for (const name of FOLDERS) files.makeFolder(join(root, name));
  for (const name of PRIVATE_FOLDERS) files.makeFolder(join(root, name), { secret: true });
  files.createNew(join(root, 'private', '.gitignore'), '*\n');
  files.createNew(join(root, '.gitignore'), 'private/\n*.part\n');
  files.createNew(
    join(root, '.gitattributes'),
    '# Records are compared byte for byte: no line-end conversion.\n* -text\n',
  );
  files.createNew(join(root, 'README.md'), readme(facts));
  for (const name of FOLDERS) files.createNew(join(root, name, '.gitkeep'), '');
  const workspace = makeWorkspace(root, facts, files, now);
  appendEntry(workspace, 'workspace-made', {
    lineage: facts.lineage,
    workspace_kind: facts.kind,
    vendor_domain: facts.vendor_domain,
    vendor_id: facts.vendor_id,
  });
  files.createNew(join(root, WORKSPACE_FILE), workspaceYaml(facts));
  return workspace;
}

function factsOf(options: InitOptions, created: Date): WorkspaceFile {
  const domain = requireDomain(options.vendorDomain);
  return {
    format: 'fieldseal.workspace/1',
    vendor_domain: domain,
    vendor_id: formatUuid(vendorId(domain)),
    kind: options.production ? 'production' : 'trial',
    lineage: randomUUID(),
    created: created.toISOString(),
  };
}

function requireEmpty(names: readonly string[], folder: string): void {
  if (names.length === 0) return;
  const what = names.includes(WORKSPACE_FILE)
    ? 'is a workspace already'
    : `is not empty (it holds ${names[0]})`;
  throw new WorkspaceError('not-empty', `${folder} ${what}; nothing was changed`, {
    hint: 'name a new folder',
    file: folder,
  });
}

/** RFC 1034 section 3.5 and RFC 1123 section 2.1: labels of letters, digits and inner hyphens. */
function requireDomain(domain: string): string {
  const labels = domain.split('.');
  const known = labels.length > 1 && domain.length <= 253 && labels.every((label) => LABEL.test(label));
  if (known) return domain;
  throw new WorkspaceError('wrong-value', `"${domain}" is not a domain name`, {
    hint: 'give a name the vendor holds, in lower case and with its last part, e.g. hollinridge.example; names with other letters in their xn-- form',
  });
}

function workspaceYaml(facts: WorkspaceFile): string {
  return `# A fieldseal workspace. Made once; the vendor identifier follows from the domain, so neither is ever changed.
format: ${facts.format}
vendor_domain: ${JSON.stringify(facts.vendor_domain)}
vendor_id: ${JSON.stringify(facts.vendor_id)}
kind: ${facts.kind}
lineage: ${JSON.stringify(facts.lineage)}
created: ${JSON.stringify(facts.created)}
`;
}

function readme(facts: WorkspaceFile): string {
  const trial =
    facts.kind === 'trial'
      ? 'This is a **trial** workspace: its keys are marked as trial and no production workspace accepts them.\n'
      : 'This is a **production** workspace: what is sealed here may run on fielded units.\n';
  return `# Firmware releases of ${facts.vendor_domain}

${trial}
| Here | What it is |
|---|---|
| \`fieldseal.yaml\` | whose workspace this is; never edited |
| \`classes/NAME.yaml\` | device classes: model, trust scheme, memory map; edited by hand, then \`fieldseal class check NAME\` |
| \`keys/NAME.json\` | what is known of each key; no secret |
| \`certificates/NAME.pem\` | certificate chains |
| \`requests/CLASS/NUMBER.json\` | sealing requests, frozen, and the approvals given to them |
| \`releases/CLASS/NUMBER.json\` | one record per sealed payload |
| \`units/CLASS/SERIAL.json\` | one record per provisioned unit |
| \`batches/\` | provisioning jobs and their results |
| \`ceremonies/\` | who made which key, when, with which attributes |
| \`ledger/\` | the hash chain over all of the above; \`fieldseal ledger check\` finds what was removed, changed or reordered |
| \`private/\` | encrypted keys, sequence counters, witnesses of the ledger; kept out of git |

Commit everything but \`private/\`, and keep a backup of \`private/\` apart. Only one copy of this workspace seals: a
clone can inspect and check, and seals only after \`fieldseal counter claim\`. Records are written once; do not edit them.
`;
}
