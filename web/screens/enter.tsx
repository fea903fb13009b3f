import { useEffect, useState } from 'preact/hooks';
import { post } from '../api.ts';
import { Tell } from '../parts/tell.tsx';
import { go } from '../router.ts';
import { useWork } from '../use.ts';

/** Entering: by the one-time link, or with an account. */
export function Enter({ entered }: { entered(): void }) {
  const work = useWork();
  const [name, setName] = useState('');
  const [password, setPassword] = useState('');
  const arrive = () => {
    go(location.pathname === '/enter' ? '/' : location.pathname + location.search, { replace: true });
    entered();
  };
  useEffect(() => {
    const entry = location.hash.slice(1);
    if (entry === '') return;
    // The secret does not stay in the address bar.
    history.replaceState(null, '', location.pathname);
    work.run(async () => {
      await post('/session/entry', { entry });
      arrive();
    });
  }, []);
  return (
    <main id="main" class="enter">
      <h1>
        <span class="brand">fieldseal</span> desk
      </h1>
      {work.busy ? (
        <p>Entering...</p>
      ) : (
        <>
          <Tell problem={work.problem} />
          <p>
            Open the link that <code>fieldseal serve</code> printed. It lets one browser in, once; press Enter
            there for a new one.
          </p>
          <form
            onSubmit={(event) => {
              event.preventDefault();
              work.run(async () => {
                await post('/session/login', { name, password });
                arrive();
              });
            }}
          >
            <h2>With an account</h2>
            <p>Where the desk listens beyond its own machine.</p>
            <label>
              Name
              <input
                value={name}
                autocomplete="username"
                required
                onInput={(e) => setName(e.currentTarget.value)}
              />
            </label>
            <label>
              Password
              <input
                type="password"
                value={password}
                autocomplete="current-password"
                required
                onInput={(e) => setPassword(e.currentTarget.value)}
              />
            </label>
            <button type="submit">Enter</button>
          </form>
        </>
      )}
    </main>
  );
}
