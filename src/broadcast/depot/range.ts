/** Which bytes a request asks for. */
export type Wanted =
  | { readonly kind: 'whole' }
  | { readonly kind: 'part'; readonly first: number /** Inclusive. */; readonly last: number }
  | { readonly kind: 'none' };

/**
 * Reads a Range header against a size (RFC 9110 section 14.1.2). Other units than bytes, several ranges and what cannot be
 * read are ignored, as section 14.2 allows: the whole is sent. `none`: no byte of it is there (416).
 */
export function wantedRange(header: string | undefined, size: number): Wanted {
  const match = /^bytes=(\d{0,15})-(\d{0,15})$/.exec(header ?? '');
  if (!match || (match[1] === '' && match[2] === '')) return { kind: 'whole' };
  const [first, last] = [match[1]!, match[2]!];
  if (first === '') return suffix(Number(last), size);
  const from = Number(first);
  const to = last === '' ? size - 1 : Math.min(Number(last), size - 1);
  if (last !== '' && Number(last) < from) return { kind: 'whole' };
  return from < size ? { kind: 'part', first: from, last: to } : { kind: 'none' };
}

function suffix(length: number, size: number): Wanted {
  if (length === 0 || size === 0) return { kind: 'none' };
  return { kind: 'part', first: Math.max(0, size - length), last: size - 1 };
}

/** Whether a list of entity tags names one (RFC 9110 section 13.1.2; weak comparison where `weak`). */
export function namesTag(header: string | undefined, tag: string, weak: boolean): boolean {
  if (header === undefined) return false;
  if (header.trim() === '*') return weak;
  return header.split(',').some((each) => {
    const named = each.trim();
    return named === tag || (weak && named === `W/${tag}`);
  });
}
