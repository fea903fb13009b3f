// What a depot serves, against a bare server that answers a constant and against nginx with the same file. The load comes
// from wrk; both sides and the load share the machine.
import { spawn, spawnSync } from 'node:child_process';
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { createServer } from 'node:http';
import { join } from 'node:path';
import { FIELDSEAL } from './folder.mjs';
import { median, medianRatio, runCommand, takeTurns } from './rounds.mjs';

const ROUNDS = 5;
const SECONDS = 2;
const CLASS = '149a892a-ea1e-5f65-bce3-27594a29ad0f';
const DIGEST = '0'.repeat(64);
const RANGE = 'bytes=65536-327679';
const CONSTANT = `import { createServer } from 'node:http';
const body = Buffer.from(process.argv[1], 'hex');
createServer((_, response) => {
  response.writeHead(200, { 'content-type': 'application/cose', 'content-length': body.length });
  response.end(body);
}).listen(Number(process.argv[2]), '127.0.0.1', () => console.log('ready'));`;

export async function benchBroadcast(report, folder) {
  report.part('Serving a depot, against a bare node:http server and against nginx');
  const absent = ['wrk', 'nginx'].filter((name) => spawnSync('which', [name]).status !== 0);
  if (absent.length > 0) {
    report.figure('not measured', `missing: ${absent.join(', ')} (Debian: wrk, nginx-light)`);
    return;
  }
  const depot = makeDepot(folder);
  const message = readFileSync(join(depot, 'a', CLASS));
  const servers = [];
  try {
    const ours = await start(
      servers,
      [...FIELDSEAL, 'depot', 'serve', depot, '--json'],
      /"origin":\s*"([^"]+)"/,
    );
    const [port, other] = [await freePort(), await freePort()];
    await start(
      servers,
      [process.execPath, '--input-type=module', '-e', CONSTANT, message.toString('hex'), String(port)],
      /(ready)/,
    );
    await startNginx(servers, folder, depot, other);
    const polls = await takeTurns(ROUNDS, {
      ours: () => rate(`${ours}/a/${CLASS}`),
      bare: () => rate(`http://127.0.0.1:${port}/`),
    });
    tell(report, 'announcement polls, ratio', polls.ours, polls.bare, 0.5);
    const ranges = await takeTurns(ROUNDS, {
      ours: () => rate(`${ours}/p/${DIGEST}`, RANGE),
      nginx: () => rate(`http://127.0.0.1:${other}/p/${DIGEST}`, RANGE),
    });
    tell(report, 'ranges of 256 KiB, ratio', ranges.ours, ranges.nginx, 0.6);
  } finally {
    for (const server of servers) server.kill('SIGTERM');
  }
}

function tell(report, title, ours, theirs, limit) {
  const detail = `median of ${ROUNDS} pairs; ${median(ours).toFixed(0)} a second against ${median(theirs).toFixed(0)}`;
  report.bound(title, medianRatio(ours, theirs), limit, detail, { atLeast: true });
}

function makeDepot(folder) {
  const depot = folder.file('depot');
  for (const name of ['a', 'p']) mkdirSync(join(depot, name), { recursive: true });
  writeFileSync(join(depot, 'a', CLASS), Buffer.alloc(1200, 0xa5));
  writeFileSync(join(depot, 'p', DIGEST), readFileSync(folder.randomFile('depot.bin', 1 << 20)));
  return depot;
}

function rate(url, range) {
  const headers = range ? ['-H', `Range: ${range}`] : [];
  const printed = runCommand(['wrk', '-t1', '-c32', `-d${SECONDS}s`, ...headers, url]);
  const found = /Requests\/sec:\s+([\d.]+)/.exec(printed);
  if (!found || /Non-2xx/.test(printed)) throw new Error(`wrk ${url}:\n${printed}`);
  return Number(found[1]);
}

async function start(servers, [command, ...args], ready) {
  const child = spawn(command, args, { stdio: ['ignore', 'pipe', 'inherit'] });
  servers.push(child);
  let told = '';
  for await (const piece of child.stdout) {
    told += piece;
    const found = ready.exec(told);
    if (found) return found[1];
  }
  throw new Error(`${command} did not start: ${told}`);
}

async function startNginx(servers, folder, depot, port) {
  const home = folder.file('nginx');
  mkdirSync(home, { recursive: true });
  const config = join(home, 'nginx.conf');
  writeFileSync(
    config,
    `daemon off; pid ${home}/pid; error_log ${home}/error.log; user root; worker_processes 1;
events { worker_connections 256; }
http { access_log off; sendfile on; client_body_temp_path ${home}; proxy_temp_path ${home}; fastcgi_temp_path ${home};
uwsgi_temp_path ${home}; scgi_temp_path ${home};
server { listen 127.0.0.1:${port}; root ${depot}; } }`,
  );
  servers.push(spawn('nginx', ['-c', config, '-p', home], { stdio: 'ignore' }));
  for (let i = 0; i < 100; i++) {
    const up = await fetch(`http://127.0.0.1:${port}/p/${DIGEST}`, { method: 'HEAD' }).catch(() => undefined);
    if (up?.ok) return;
    await new Promise((resolve) => setTimeout(resolve, 50));
  }
  throw new Error('nginx did not start');
}

function freePort() {
  return new Promise((resolve) => {
    const server = createServer().listen(0, '127.0.0.1', () => {
      const { port } = server.address();
      server.close(() => resolve(port));
    });
  });
}
