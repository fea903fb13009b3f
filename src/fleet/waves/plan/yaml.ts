/** Whom a plan to begin from names in its pilot. */
export interface PilotUnit {
  readonly serial: string;
  readonly hardware: string | undefined;
}

/**
 * A plan to begin from. Its figures are common practice for a fleet that answers within a day; they are the user's to set. The
 * pilot: one unit of each hardware revision, as far as the fleet tells; without any, a share.
 */
export function planYaml(className: string, pilot: readonly PilotUnit[]): string {
  return `# How a release goes out to class ${className}. Shares and rates are of a thousand units.
format: fieldseal.broadcast-plan/1
class: ${className}

# A wave is a success once so many of a thousand of its units kept the release ...
success: 950
# ... within this time, else it stops; then it is watched for so long, and only then the next wave opens.
within: 14 d
soak: 24 h
# A unit counts as silent once it was not heard of for so long. Longer than the longest sleep of your units.
silence: 3 d

# What stops the broadcast by itself, and takes the offer back. Written before it begins: more than this share, and at least
# so many units. Refusals and fall-backs are counted among units that answered, silence among all units of the wave.
stop:
  refused: { share: 20, least: 2 }
  fell_back: { share: 10, least: 1 }
  silent: { share: 100, least: 5 }

# For how long an announcement stands; it is renewed at half of it.
announced_for: 14 d

# A unit waits until the command of its agent (--ready) says that this is met. The product's safety standard decides what it is.
# condition: vents-closed

# Releases, by sequence number, that units take first while they run something older.
# stepping_stones: [9]

# Hardware revisions that go without a pilot unit, on purpose.
# unpiloted_hardware: ["B"]

# The pilot: units that you can watch and reach, every hardware revision among them. Later waves hold whom earlier ones held.
waves:
  - name: pilot
${pilotLines(pilot)}
    soak: 48 h
    stop:
      refused: { share: 0, least: 1 }
      fell_back: { share: 0, least: 1 }
      silent: { share: 0, least: 1 }
  - name: first
    share: 50
  - name: half
    share: 500
  - name: everyone
    share: 1000
    soak: 0 s
`;
}

function pilotLines(pilot: readonly PilotUnit[]): string {
  if (pilot.length === 0) return '    share: 10';
  const lines = pilot.map(
    ({ serial, hardware }) =>
      `      - ${JSON.stringify(serial)}${hardware === undefined ? '' : `  # ${hardware}`}`,
  );
  return ['    serials:', ...lines].join('\n');
}
