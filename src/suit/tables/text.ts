import { type Row, tableOf } from './row.ts';

/** Texts about the manifest as a whole ([M] section 11.6). */
export const TEXT_KEYS = tableOf<Row>([
  { code: 1, name: 'text-manifest-description', support: 'runs', source: '[M] 8.4.4' },
  { code: 2, name: 'text-update-description', support: 'runs', source: '[M] 8.4.4' },
  { code: 3, name: 'text-manifest-json-source', support: 'runs', source: '[M] 8.4.4' },
  { code: 4, name: 'text-manifest-yaml-source', support: 'runs', source: '[M] 8.4.4' },
]);

/** Texts about one component ([M] section 11.7, [UM] section 7.5). */
export const COMPONENT_TEXT_KEYS = tableOf<Row>([
  { code: 1, name: 'text-vendor-name', support: 'runs', source: '[M] 8.4.4' },
  { code: 2, name: 'text-model-name', support: 'runs', source: '[M] 8.4.4' },
  { code: 3, name: 'text-vendor-domain', support: 'runs', source: '[M] 8.4.4' },
  { code: 4, name: 'text-model-info', support: 'runs', source: '[M] 8.4.4' },
  { code: 5, name: 'text-component-description', support: 'runs', source: '[M] 8.4.4' },
  { code: 6, name: 'text-component-version', support: 'runs', source: '[M] 8.4.4' },
  { code: 7, name: 'text-version-required', support: 'runs', source: '[UM] 3.3' },
  { code: 8, name: 'text-current-version', support: 'runs', source: '[UM] 3.4' },
]);
