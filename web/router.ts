import { useEffect, useState } from 'preact/hooks';

/** Where the reader is: path and query, kept in the address so that every view can be linked to. */
export interface Place {
  readonly path: string;
  readonly query: URLSearchParams;
}

const LEFT = 'desk-place';

/** Goes to another place; `replace` leaves no step behind in the history. */
export function go(address: string, { replace = false } = {}): void {
  history[replace ? 'replaceState' : 'pushState'](null, '', address);
  dispatchEvent(new Event(LEFT));
}

/** Changes what the address chooses on the screen that is open; undefined takes a choice out. */
export function choose(
  choices: Readonly<Record<string, string | undefined>>,
  options?: { replace: boolean },
): void {
  const { path, query } = here();
  for (const [name, value] of Object.entries(choices)) {
    if (value === undefined || value === '') query.delete(name);
    else query.set(name, value);
  }
  const asked = query.toString();
  go(asked === '' ? path : `${path}?${asked}`, options);
}

/** The place, followed as it changes. */
export function usePlace(): Place {
  const [place, setPlace] = useState(here);
  useEffect(() => {
    const follow = () => setPlace(here());
    const click = (event: MouseEvent) => takeLink(event);
    addEventListener(LEFT, follow);
    addEventListener('popstate', follow);
    document.addEventListener('click', click);
    return () => {
      removeEventListener(LEFT, follow);
      removeEventListener('popstate', follow);
      document.removeEventListener('click', click);
    };
  }, []);
  return place;
}

function here(): Place {
  return { path: location.pathname, query: new URLSearchParams(location.search) };
}

function takeLink(event: MouseEvent): void {
  const link = (event.target as Element | null)?.closest('a');
  const plain = event.button === 0 && !event.metaKey && !event.ctrlKey && !event.shiftKey && !event.altKey;
  if (!link || !plain || event.defaultPrevented || link.origin !== location.origin) return;
  if (link.target || link.hasAttribute('download') || link.pathname.startsWith('/api/')) return;
  if (link.hash && link.pathname === location.pathname) return;
  event.preventDefault();
  go(link.pathname + link.search);
  scrollTo(0, 0);
}
