/** A counter for programs: a number, or text beyond 2^53, where JSON readers lose digits. */
export function numberJson(value: bigint): number | string {
  return value <= BigInt(Number.MAX_SAFE_INTEGER) ? Number(value) : String(value);
}
