/** How many units of a batch stand where. Always: issued = provisioned + scrapped + open. */
export interface Books {
  readonly issued: number;
  readonly provisioned: number;
  readonly scrapped: number;
  readonly open: number;
}

/**
 * Balances a batch. `serials` were issued; `settled` holds the serials whose outcome is final. Whatever is not settled is open.
 */
export function balance(
  serials: readonly string[],
  settled: { readonly provisioned: ReadonlySet<string>; readonly scrapped: ReadonlySet<string> },
): Books {
  const provisioned = serials.filter((serial) => settled.provisioned.has(serial)).length;
  const scrapped = serials.filter(
    (serial) => settled.scrapped.has(serial) && !settled.provisioned.has(serial),
  ).length;
  return { issued: serials.length, provisioned, scrapped, open: serials.length - provisioned - scrapped };
}
