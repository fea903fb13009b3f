const PATIENCE_MS = 30_000;
const LONGEST_PAUSE_MS = 100;

/** Does something again, after a pause that grows, where it failed only because somebody else was at it. */
export async function againWhere<T>(
  clashed: (error: unknown) => boolean,
  work: () => Promise<T>,
): Promise<T> {
  const end = Date.now() + PATIENCE_MS;
  for (let attempt = 1; ; attempt++) {
    try {
      return await work();
    } catch (error) {
      if (Date.now() >= end || !clashed(error)) throw error;
      const most = Math.min(2 ** attempt, LONGEST_PAUSE_MS);
      await new Promise((resolve) => {
        setTimeout(resolve, Math.random() * most);
      });
    }
  }
}
