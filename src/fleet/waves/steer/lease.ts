/** Name of the right to steer the broadcasts of a class: announcements are one series for each class. */
export function steeringLease(classId: string): string {
  return `waves/${classId}`;
}
