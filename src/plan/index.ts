/**
 * Plan: what follows from a choice, computed before it is made. The figures that calculations rest on, each with its
 * source and each open to be replaced; what a release costs over each link of a class; the trust plan of a class.
 */
export { type Cost, type CostRequest, costOf, type LinkCost, type VariantCost } from './cost/cost.ts';
export { type Sending, sendingOf } from './cost/delivery.ts';
export { costJson, linkJson } from './cost/json.ts';
export { loraAirtime } from './cost/lora-airtime.ts';
export { type FigureBook, type Link, readFigures, type UnitFigures } from './figures/book.ts';
export { FIGURE_SOURCES, type Figure, type FigureSource } from './figures/figure.ts';
export { figuresJson } from './figures/json.ts';
export { figuresYaml } from './figures/yaml.ts';
export { planMarkdown } from './trust/markdown.ts';
export { trustPlan } from './trust/plan.ts';
export type { TrustPlan } from './trust/schema.ts';
