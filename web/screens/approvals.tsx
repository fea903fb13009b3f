import { Approve } from '../parts/approve.tsx';
import { MakeRequest } from '../parts/make-request.tsx';
import { type RequestShown, RequestTold } from '../parts/request.tsx';
import { SealApproved } from '../parts/seal-approved.tsx';
import { Caution, Tell } from '../parts/tell.tsx';
import { Withdraw } from '../parts/withdraw.tsx';
import type { Place } from '../router.ts';
import { useDocument } from '../use.ts';

/** What waits for approval? Sealing requests, what each froze, and the approval of another person. */
export function Approvals({ place }: { place: Place }) {
  const { value, problem, again } = useDocument<{ requests: readonly RequestShown[] }>('/requests');
  const picked = value?.requests.find(({ request }) => request === place.query.get('request'));
  return (
    <>
      <h1>What waits for approval?</h1>
      <Tell problem={problem} />
      {value?.requests.length === 0 && (
        <p>
          No sealing requests. The person who has the build makes one, here or with{' '}
          <code>fieldseal request make</code>.
        </p>
      )}
      <MakeRequest place={place} made={again} />
      {value && value.requests.length > 0 && <List requests={value.requests} />}
      {picked && picked.state === 'does not hold' && <Caution>{picked.says}</Caution>}
      {picked && picked.state !== 'does not hold' && (
        <div class="two">
          <RequestTold shown={picked} />
          <div>
            {picked.state === 'open' ? (
              <>
                <Approve key={picked.request} shown={picked} approved={again} />
                {picked.counted >= picked.needed && (
                  <SealApproved key={`seal ${picked.request}`} shown={picked} />
                )}
                <Withdraw key={`withdraw ${picked.request}`} shown={picked} withdrawn={again} />
              </>
            ) : (
              <p>This request is {picked.state}: nothing is approved or sealed by it any more.</p>
            )}
          </div>
        </div>
      )}
    </>
  );
}

function List({ requests }: { requests: readonly RequestShown[] }) {
  return (
    <div class="wide">
      <table>
        <thead>
          <tr>
            <th scope="col">request</th>
            <th scope="col">version</th>
            <th scope="col">asked for by</th>
            <th scope="col">approvals</th>
            <th scope="col">state</th>
          </tr>
        </thead>
        <tbody>
          {requests.map(({ request, version, requested_by, counted, needed, state }) => (
            <tr key={request}>
              <th scope="row">
                <a href={`/approvals?request=${encodeURIComponent(request)}`}>{request}</a>
              </th>
              <td>{version}</td>
              <td>{requested_by}</td>
              <td>{state === 'does not hold' ? '' : `${counted} of ${needed}`}</td>
              <td>{state}</td>
            </tr>
          ))}
        </tbody>
      </table>
    </div>
  );
}
