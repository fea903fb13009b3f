/** What was observed when a key was made: facts for the ceremony record. */
export interface KeyEvidence {
  readonly custody: 'file' | 'token';
  /** Named facts: protection of the file, or token, module and mechanism. */
  readonly facts: Readonly<Record<string, string>>;
  /** Attributes read back from the token; empty for files. */
  readonly attributes: readonly AttributeEvidence[];
}

/** One attribute of a key in a token, as read back. `ok` is null where nothing particular is wanted. */
export interface AttributeEvidence {
  readonly name: string;
  readonly found: string;
  readonly wanted: string | null;
  readonly ok: boolean | null;
}
