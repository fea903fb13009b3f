import { describe, expect, test } from 'vitest';
import { der, OID, type PathRefusal, parseName, sameName, validatePath } from '../../src/x509/index.ts';
import { basicConstraints, extension, nameOf, rawParsed } from './rewrite.ts';
import { anchorOf, CLASS_SCOPE, issue, named, testKey } from './support.ts';

const [rootKey, middleKey] = [testKey(), testKey()];
const root = await issue({ profile: 'root', publicKey: rootKey.spki }, rootKey);

const text = (tag: number) => (value: string) => der.primitive(tag, new TextEncoder().encode(value));
const [mail, dns, uri] = [text(1), text(2), text(6)];
const address = (...bytes: number[]) => der.primitive(7, Uint8Array.from(bytes));
const directory = (value: string) => der.constructed(4, nameOf('2.5.4.10', der.utf8String(value)).der);

/** Judges a certificate with this subjectAltName under an authority with these constraints. */
async function judge(
  lists: { permitted?: Uint8Array[]; excluded?: Uint8Array[] },
  names: Uint8Array[],
  subject = named('leaf'),
): Promise<PathRefusal | 'ok'> {
  const subtrees = (number: number, bases: Uint8Array[] = []) =>
    bases.length > 0 ? [der.constructed(number, ...bases.map((base) => der.sequence(base)))] : [];
  const constraints = der.sequence(...subtrees(0, lists.permitted), ...subtrees(1, lists.excluded));
  const middle = await rawParsed(
    {
      issuer: root.subject,
      subject: named('middle'),
      spki: middleKey.spki,
      extensions: [basicConstraints(true), extension(OID.nameConstraints, true, constraints)],
    },
    rootKey,
  );
  const altName =
    names.length > 0 ? { extensions: [extension(OID.subjectAltName, false, der.sequence(...names))] } : {};
  const leaf = await rawParsed(
    { issuer: named('middle'), subject, spki: testKey().spki, ...altName },
    middleKey,
  );
  const verdict = validatePath({ chain: [leaf, middle], anchors: [anchorOf(root)] });
  return verdict.ok ? 'ok' : verdict.code;
}

const no = 'name-not-permitted';

describe('RFC 5280 4.2.1.10: permitted subtrees', () => {
  const cases: [string, Uint8Array, Uint8Array, PathRefusal | 'ok'][] = [
    ['dNSName: the host itself', dns('host.example'), dns('host.example'), 'ok'],
    ['dNSName: labels added on the left, any case', dns('host.example'), dns('A.b.HOST.example'), 'ok'],
    ['dNSName: another host that ends alike', dns('host.example'), dns('myhost.example'), no],
    ['dNSName: a full stop at the end', dns('host.example'), dns('host.example.'), no],
    ['dNSName: everything', dns(''), dns('any.example'), 'ok'],
    ['rfc822Name: this mailbox', mail('root@host.example'), mail('root@HOST.example'), 'ok'],
    ['rfc822Name: the local part counts by case', mail('root@host.example'), mail('Root@host.example'), no],
    ['rfc822Name: every mailbox on this host', mail('host.example'), mail('a@host.example'), 'ok'],
    ['rfc822Name: not on hosts below it', mail('host.example'), mail('a@b.host.example'), no],
    [
      'rfc822Name: with a leading full stop, hosts below it',
      mail('.host.example'),
      mail('a@b.host.example'),
      'ok',
    ],
    ['rfc822Name: but not the host itself', mail('.host.example'), mail('a@host.example'), no],
    ['rfc822Name: no mailbox', mail('host.example'), mail('host.example'), no],
    [
      'URI: this host, port and user information aside',
      uri('host.example'),
      uri('https://me@host.example:8443/x'),
      'ok',
    ],
    ['URI: not hosts below it', uri('host.example'), uri('https://a.host.example/'), no],
    [
      'URI: with a leading full stop, hosts below it',
      uri('.host.example'),
      uri('https://a.host.example'),
      'ok',
    ],
    [
      'URI: the host in another part does not count',
      uri('host.example'),
      uri('https://evil.example/host.example'),
      no,
    ],
    ['URI: nor as user information', uri('host.example'), uri('https://host.example@evil.example/'), no],
    ['URI: an address is no host name', uri('host.example'), uri('https://192.0.2.1/'), no],
    ['URI: without a host (a scope) it is refused', uri('host.example'), uri(CLASS_SCOPE), no],
    ['iPAddress: inside the mask', address(192, 0, 2, 0, 255, 255, 255, 0), address(192, 0, 2, 99), 'ok'],
    ['iPAddress: outside', address(192, 0, 2, 0, 255, 255, 255, 0), address(192, 0, 3, 1), no],
    [
      'iPAddress: of another length',
      address(192, 0, 2, 0, 255, 255, 255, 0),
      address(...Array(16).fill(0)),
      no,
    ],
    ['directoryName: in the subtree', directory('hollin  RIDGE'), der.constructed(4, named('x').der), 'ok'],
    ['directoryName: outside', directory('Hollin Ridge'), directory('Other'), no],
    [
      'a form that is not judged',
      der.constructed(0, der.oid('2.25.1'), der.constructed(0, der.null())),
      der.constructed(0, der.oid('2.25.1'), der.constructed(0, der.null())),
      no,
    ],
    ['a form that is not constrained', dns('host.example'), mail('a@b.example'), 'ok'],
  ];
  test.each(cases)('%s', async (_what, base, name, outcome) => {
    expect(await judge({ permitted: [base] }, [name])).toBe(outcome);
  });

  test('the subject is a directoryName too', async () => {
    expect(await judge({ permitted: [directory('Hollin Ridge')] }, [])).toBe('ok');
    expect(await judge({ permitted: [directory('Other')] }, [])).toBe(no);
  });

  test('a mail address in the subject is an rfc822Name too', async () => {
    const subject = nameOf(OID.emailAddress, der.ia5String('a@host.example'));
    expect(await judge({ permitted: [mail('host.example')] }, [], subject)).toBe('ok');
    expect(await judge({ permitted: [mail('other.example')] }, [], subject)).toBe(no);
  });

  test('every name must lie inside, and one subtree is enough for each', async () => {
    const permitted = [dns('a.example'), dns('b.example')];
    expect(await judge({ permitted }, [dns('x.a.example'), dns('y.b.example')])).toBe('ok');
    expect(await judge({ permitted }, [dns('x.a.example'), dns('c.example')])).toBe(no);
  });
});

describe('RFC 5280 4.2.1.10: excluded subtrees', () => {
  test('exclusion wins over permission', async () => {
    const lists = { permitted: [dns('host.example')], excluded: [dns('lab.host.example')] };
    expect(await judge(lists, [dns('a.host.example')])).toBe('ok');
    expect(await judge(lists, [dns('a.lab.host.example')])).toBe(no);
  });

  test('no form slips past: a full stop at the end, a URI without host, other letters', async () => {
    expect(await judge({ excluded: [dns('host.example')] }, [dns('host.example.')])).toBe(no);
    expect(await judge({ excluded: [uri('host.example')] }, [uri(CLASS_SCOPE)])).toBe(no);
    expect(await judge({ excluded: [mail('host.example')] }, [mail('a@HOST.EXAMPLE')])).toBe(no);
    expect(await judge({ excluded: [directory('Hollin Ridge')] }, [])).toBe(no);
    expect(await judge({ excluded: [address(0, 0, 0, 0, 0, 0, 0, 0)] }, [address(1, 2, 3, 4)])).toBe(no);
  });
});

describe('RFC 5280 7.1: when two names are one', () => {
  const o = (value: string) => nameOf('2.5.4.10', der.utf8String(value));

  test.each([
    ['letters by case', 'HOLLIN RIDGE', 'hollin ridge'],
    ['spaces at the ends and in a row', '  Hollin   Ridge ', 'Hollin Ridge'],
    ['other spaces', 'Hollin\u00a0Ridge', 'Hollin Ridge'],
    ['composed and decomposed letters', 'Caf\u00e9', 'Cafe\u0301'],
    ['sharp s and its capital form', 'STRASSE', 'straße'],
    ['invisible characters', 'Hol\u00adlin', 'Hollin'],
    ['full-width letters', '\uff28ollin', 'hollin'],
  ])('%s', (_what, left, right) => {
    expect(sameName(o(left), o(right))).toBe(true);
  });

  test('other letters, other attribute types, other counts and orders are other names', () => {
    expect(sameName(o('Hollin'), o('Holin'))).toBe(false);
    expect(sameName(o('x'), nameOf('2.5.4.11', der.utf8String('x')))).toBe(false);
    expect(sameName(named('x'), o('Hollin Ridge'))).toBe(false);
    const [a, b] = [
      der.setOf(der.sequence(der.oid('2.5.4.10'), der.utf8String('x'))),
      der.setOf(der.sequence(der.oid('2.5.4.3'), der.utf8String('y'))),
    ];
    expect(sameName(parseName(der.sequence(a, b)), parseName(der.sequence(b, a)))).toBe(false);
  });

  test('values that are no text are compared as bytes', () => {
    expect(sameName(nameOf('2.25.1', der.integer(1)), nameOf('2.25.1', der.integer(1)))).toBe(true);
    expect(sameName(nameOf('2.25.1', der.integer(1)), nameOf('2.25.1', der.integer(2)))).toBe(false);
  });

  test('members of one part may stand in any order', () => {
    const [o1, cn] = [
      der.sequence(der.oid('2.5.4.10'), der.utf8String('AAAA')),
      der.sequence(der.oid('2.5.4.10'), der.printableString('b')),
    ];
    const [o2, cn2] = [
      der.sequence(der.oid('2.5.4.10'), der.printableString('aaaa')),
      der.sequence(der.oid('2.5.4.10'), der.utf8String('B')),
    ];
    expect(
      sameName(parseName(der.sequence(der.setOf(o1, cn))), parseName(der.sequence(der.setOf(o2, cn2)))),
    ).toBe(true);
  });
});
