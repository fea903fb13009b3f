// The JSON Schemas that editors and other tools use. `node scripts/schemas.mjs` writes them; a test fails where they are stale.
import { evidenceSchema } from '../src/evidence/schema.ts';
import { planSchema } from '../src/fleet/waves/plan/schema.ts';
import { figuresSchema } from '../src/plan/figures/schema.ts';
import { trustPlanSchema } from '../src/plan/trust/schema.ts';
import { columnsSchema } from '../src/rehearsal/acceptance/inventory/schema.ts';
import { acceptanceSchema } from '../src/rehearsal/acceptance/schema.ts';
import { rehearsalSchema } from '../src/rehearsal/forgeries/schema.ts';
import { publish, publishedSchemas as workspaceSchemas } from '../src/workspace/json-schema.ts';

/** Every schema, by file name in schemas/. */
export function publishedSchemas(): Record<string, string> {
  return {
    ...workspaceSchemas(),
    'rehearsal.schema.json': publish(rehearsalSchema, 'fieldseal rehearsal, the result of rehearse'),
    'evidence.schema.json': publish(evidenceSchema, 'fieldseal evidence for a release'),
    'trust-plan.schema.json': publish(trustPlanSchema, 'fieldseal trust plan, the decision record of plan'),
    'acceptance.schema.json': publish(acceptanceSchema, 'fieldseal acceptance, rehearse --units'),
    'inventory-columns.schema.json': publish(columnsSchema, 'fieldseal columns of an inventory'),
    'broadcast-plan.schema.json': publish(planSchema, 'fieldseal broadcast plan'),
    'figures.schema.json': publish(figuresSchema, 'fieldseal figures, figures.yaml'),
  };
}
