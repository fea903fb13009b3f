/** A sequence number of the person's choice, where the next one would not do: above one that somebody forged, say. */
export function SequenceNumber({ value, set }: { value: string; set(value: string): void }) {
  return (
    <label>
      Sequence number, where it must be above another
      <input
        value={value}
        inputmode="numeric"
        pattern="[1-9][0-9]{0,18}"
        placeholder="the next one"
        title="digits; above every number of the class"
        onInput={(event) => set(event.currentTarget.value)}
      />
    </label>
  );
}
