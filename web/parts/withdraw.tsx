import { useState } from 'preact/hooks';
import { post } from '../api.ts';
import { useWork } from '../use.ts';
import type { RequestShown } from './request.tsx';
import { Caution, Tell } from './tell.tsx';

interface Withdrawn {
  readonly request: string;
  readonly sealing_had_begun: boolean;
}

/** Taking back a request, or an approval, before it is sealed. */
export function Withdraw({ shown, withdrawn }: { shown: RequestShown; withdrawn(): void }) {
  const [approver, setApprover] = useState('');
  const [reason, setReason] = useState('');
  const [done, setDone] = useState<Withdrawn>();
  const work = useWork();
  const given = [...new Set(shown.approvals.filter(({ counts }) => counts).map((each) => each.approver))];
  const withdraw = () =>
    work.run(async () => {
      const what = approver === '' ? '' : `/approvals/${approver}`;
      setDone(await post<Withdrawn>(`/requests/${shown.request}${what}/withdrawals`, { reason }));
      setReason('');
      setApprover('');
      withdrawn();
    });
  return (
    <section aria-labelledby="withdraw">
      <h2 id="withdraw">Take it back</h2>
      <form
        onSubmit={(event) => {
          event.preventDefault();
          withdraw();
        }}
      >
        <label>
          What is taken back
          <select value={approver} onChange={(event) => setApprover(event.currentTarget.value)}>
            <option value="">the request itself</option>
            {given.map((name) => (
              <option key={name} value={name} selected={name === approver}>
                the approval by {name}
              </option>
            ))}
          </select>
        </label>
        <label>
          Why, for the ledger
          <input required value={reason} onInput={(event) => setReason(event.currentTarget.value)} />
        </label>
        <Caution>
          {approver === ''
            ? `${shown.request} can then never be approved or sealed, and its sequence number is spent.`
            : `It counts no more; ${shown.request} stays open and may be approved again.`}{' '}
          It makes sealing harder, never easier, so no key is asked for.
        </Caution>
        <button type="submit" class="cut" disabled={work.busy || reason.trim() === ''}>
          {approver === '' ? `Take ${shown.request} back` : `Take the approval by ${approver} back`}
        </button>
      </form>
      <Tell problem={work.problem} />
      {done?.sealing_had_begun && (
        <Caution>Sealing had begun before: see among the releases whether it went through.</Caution>
      )}
    </section>
  );
}
