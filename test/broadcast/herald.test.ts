import type { AddressInfo } from 'node:net';
import { createServer, type Socket } from 'node:net';
import { describe, expect, it } from 'vitest';
import { Latest, listen, openHerald } from '../../src/broadcast/index.ts';

describe('the latest message', () => {
  it('is what is left of many, once', async () => {
    const latest = new Latest();
    for (let i = 0; i < 1000; i++) latest.put(new Uint8Array([i & 255]));
    expect(await latest.next(60_000)).toEqual(new Uint8Array([999 & 255]));
    const none = latest.next(60_000);
    latest.wake();
    expect(await none).toBeUndefined();
    expect(await latest.next(1)).toBeUndefined();
  });

  it('wakes whoever waits for it', async () => {
    const latest = new Latest();
    const waiting = latest.next(60_000);
    latest.put(new Uint8Array([7]));
    expect(await waiting).toEqual(new Uint8Array([7]));
  });
});

describe('a broker that does not keep to MQTT 5 section 3.1.2.11.4, Maximum Packet Size', () => {
  it('is left long before its packet is whole', async () => {
    /** CONNACK, success, no properties. */
    const welcome = Buffer.from([0x20, 3, 0, 0, 0]);
    /** PUBLISH, remaining length 268435455: the largest that MQTT 5 section 1.5.5 can say. */
    const head = Buffer.from([0x30, 0xff, 0xff, 0xff, 0x7f]);
    let sent = 0;
    const server = createServer((socket: Socket) => {
      socket.on('error', () => {});
      socket.once('data', () => {
        socket.write(Buffer.concat([welcome, head]));
        const pour = () => {
          while (!socket.destroyed && socket.write(Buffer.alloc(16_384))) sent += 16_384;
          if (!socket.destroyed) socket.once('drain', pour);
        };
        pour();
      });
    });
    await new Promise<void>((resolve) => {
      server.listen(0, '127.0.0.1', () => resolve());
    });
    const { port } = server.address() as AddressInfo;
    let heard = 0;
    const says = await new Promise<string>((resolve, reject) => {
      const listening = listen(
        {
          url: new URL(`mqtt://127.0.0.1:${port}`),
          user: undefined,
          password: undefined,
          authorities: undefined,
        },
        ['a-class'],
        {
          heard: () => heard++,
          tell: (news) => listening.then((each) => each.close()).then(() => resolve(news.says), reject),
        },
      );
    });
    server.close();
    expect(says).toContain('sends more than an announcement has');
    expect(heard).toBe(0);
    expect(sent).toBeLessThan(64 << 20);
  });
});

describe('a broker that dies over a message (MQTT 5 section 4.4: no PUBACK ever comes)', () => {
  it.concurrent.each([
    ['and ends the connection', (socket: Socket) => socket.destroy()],
    ['and says nothing more', () => {}],
  ])('%s: whoever published is told, and is held up no longer', async (_, die) => {
    const server = createServer((socket: Socket) => {
      socket.on('error', () => {});
      socket.once('data', () => {
        socket.write(Buffer.from([0x20, 3, 0, 0, 0]));
        socket.once('data', () => die(socket));
      });
    });
    await new Promise<void>((resolve) => {
      server.listen(0, '127.0.0.1', () => resolve());
    });
    const { port } = server.address() as AddressInfo;
    const url = new URL(`mqtt://127.0.0.1:${port}`);
    const herald = await openHerald({ url, user: undefined, password: undefined, authorities: undefined });
    const expiry = new Date(Date.now() + 3_600_000);
    await expect(herald.publish('a-class', Buffer.from('news'), expiry)).rejects.toThrow(
      'did not take the announcement',
    );
    await herald.close();
    server.close();
  });
});
