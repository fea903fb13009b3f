import { anatomyJson, anatomyOf, type FoundCertificate } from '../../answers/index.ts';
import type { Region } from '../../suit/index.ts';
import { fileSource } from '../../workspace/index.ts';
import { fingerprintText } from '../../x509/index.ts';
import { EXIT } from '../exit.ts';
import type { Output } from '../output.ts';
import { plain } from '../show-verdict.ts';
import type { Call } from '../spec.ts';

/** Accounts for every byte of a file. */
export function run(call: Call): number {
  const file = call.args[0]!;
  const source = fileSource(file);
  try {
    const anatomy = anatomyOf(source);
    const { regions, certificates, diagnostic } = anatomy;
    if (call.flag('diagnostic')) call.out.line(diagnostic);
    else
      show(
        call.out,
        file,
        source.size,
        regions,
        certificates,
        call.count('depth') ?? Number.POSITIVE_INFINITY,
      );
    call.out.result(anatomyJson(file, source.size, anatomy));
    return EXIT.done;
  } finally {
    source.close();
  }
}

function show(
  out: Output,
  file: string,
  size: number,
  regions: readonly Region[],
  certificates: readonly FoundCertificate[],
  depth: number,
): void {
  out.line(`${file}: ${size} bytes`);
  out.line(out.paint.dim('  offset  length  what it is'));
  for (const region of regions) showRegion(out, region, 0, depth);
  for (const { offset, certificate } of certificates) {
    out.line();
    out.line(`certificate at offset ${offset}`);
    out.fact('subject', certificate.subject.text);
    out.fact('issuer', certificate.issuer.text);
    out.fact('serial', certificate.serial);
    out.fact(
      'valid',
      `${certificate.notBefore.toISOString()} to ${certificate.notAfter?.toISOString() ?? 'no defined end'}`,
    );
    out.fact('key', `${certificate.keyType ?? 'unknown type'}  ${fingerprintText(certificate.spki)}`);
    if (certificate.subjectAltUris.length > 0)
      out.fact('may sign for', certificate.subjectAltUris.join(', '));
  }
}

function showRegion(out: Output, region: Region, level: number, depth: number): void {
  const place = `${String(region.offset).padStart(8)}${String(region.length).padStart(8)}  ${'  '.repeat(level)}`;
  const value = region.value === undefined ? '' : ` ${out.paint.bold(shortened(plain(region.value)))}`;
  const clause = region.clause === '' ? '' : out.paint.dim(`  (${region.clause})`);
  const problem = region.problem === undefined ? '' : out.paint.red(`  ${plain(region.problem)}`);
  out.line(`${place}${plain(region.title)}${value}${clause}${problem}`);
  if (level + 1 >= depth) return;
  for (const child of region.children ?? []) showRegion(out, child, level + 1, depth);
}

// Long digests and signatures are told by their first digits; --json has them whole.
function shortened(text: string): string {
  return text.replace(/[0-9a-f]{72,}/g, (hex) => `${hex.slice(0, 32)}...`);
}
