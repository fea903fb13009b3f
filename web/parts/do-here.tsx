import { type Act, ActForm } from './act-form.tsx';

/** What of a step the desk does itself, where its pages help with it, or why it leaves it to the command line. */
export interface DeskShare {
  readonly act: Act | null;
  readonly pages: readonly { readonly says: string; readonly page: string; readonly download?: string }[];
  readonly left_out: string | null;
}

interface Props {
  readonly incident: string;
  readonly step: string;
  readonly share: DeskShare;
  readonly toDo: boolean;
  changed(): void;
}

/** A step of a response, done from the desk where the desk may; and what came of it, to be taken. */
export function DoHere({ incident, step, share: { act, pages, left_out }, toDo, changed }: Props) {
  const shown = pages.filter(({ download }) => toDo || download !== undefined);
  return (
    <>
      {toDo && act && <ActForm incident={incident} step={step} act={act} changed={changed} />}
      {shown.length > 0 && (
        <p class="row">
          {shown.map(({ says, page, download }) => (
            <a key={page} href={page} download={download}>
              {says}
            </a>
          ))}
        </p>
      )}
      {toDo && left_out && <p class="hint">{left_out}</p>}
    </>
  );
}
