// Loaded into a process that is measured: at its end it leaves the most memory it held (VmHWM, proc(5)), in KiB.
import { readFileSync, writeFileSync } from 'node:fs';

process.on('exit', () => {
  const status = readFileSync('/proc/self/status', 'utf8');
  writeFileSync(process.env.BENCH_PEAK_FILE, /^VmHWM:\s*(\d+) kB$/m.exec(status)[1]);
});
