/** State of one running sequence; it is gone when the sequence ends. */
export interface Frame {
  /** Soft failure ([M] section 8.4.8.15); undefined outside try-each and run-sequence, where none may be set. */
  soft: boolean | undefined;
  /** Whether set-component-index may come: inside an unordered run-sequence first or never ([M] section 6.7). */
  indexAllowed: 'always' | 'first' | 'never';
  /** Components written and read from while order was not strict; made when that first happens. */
  loose: { readonly written: Set<number>; readonly read: Set<number> } | undefined;
}

export function frameOf(soft: boolean | undefined, indexAllowed: Frame['indexAllowed'] = 'always'): Frame {
  return { soft, indexAllowed, loose: undefined };
}
