/** Where an item of the checklist is dealt with. */
export interface StrobeItem {
  readonly number: number;
  /** The item in our own words. */
  readonly item: string;
  /** Anchor of the section that covers it; null where the authors must write it themselves. */
  readonly anchor: string | null;
  /** What the report gives, or what the authors still have to say. */
  readonly note: string;
}

/**
 * The 22 items that reports of cohort studies should cover, in our own words.
 * Source: von Elm and others 2007 (STROBE statement); numbers and subjects from memory.
 */
export const STROBE_ITEMS: readonly StrobeItem[] = [
  {
    number: 1,
    item: 'Design named in title and summary',
    anchor: null,
    note: 'A cohort followed after treatment: the authors say so.',
  },
  { number: 2, item: 'Background and reasons', anchor: null, note: 'For the authors.' },
  {
    number: 3,
    item: 'Objectives',
    anchor: 'answer',
    note: 'The question in full; hypotheses set beforehand are for the authors.',
  },
  {
    number: 4,
    item: 'Design early in the paper',
    anchor: 'paragraph',
    note: 'First sentence of the methods paragraph.',
  },
  {
    number: 5,
    item: 'Setting, places and dates',
    anchor: null,
    note: 'Clinics and dates of treatment are for the authors; the report holds no calendar dates but the day of reading.',
  },
  {
    number: 6,
    item: 'Who could take part, and follow-up',
    anchor: 'flow',
    note: 'Filter and flow; how patients were chosen (consecutive?) is for the authors.',
  },
  {
    number: 7,
    item: 'Outcomes, exposures, confounders defined',
    anchor: 'definitions',
    note: 'Measure, gain, threshold, rule, groups.',
  },
  {
    number: 8,
    item: 'Sources of data and how measured',
    anchor: 'definitions',
    note: 'Method error and growth reference; apparatus and examiners are for the authors.',
  },
  {
    number: 9,
    item: 'What was done against bias',
    anchor: 'absence',
    note: 'Bounds, tipping points, seen against unseen; selection on success is for the authors.',
  },
  { number: 10, item: 'How the size of the study came about', anchor: null, note: 'For the authors.' },
  {
    number: 11,
    item: 'Handling of quantities and groupings',
    anchor: 'groups',
    note: 'Groups and where gains were divided.',
  },
  {
    number: 12,
    item: 'Statistical methods, missing data, sensitivity',
    anchor: 'paragraph',
    note: 'Methods paragraph with references; rules and models side by side.',
  },
  {
    number: 13,
    item: 'Numbers at each stage, and why lost',
    anchor: 'flow',
    note: 'Flow by year with reasons, and those left out of each analysis.',
  },
  {
    number: 14,
    item: 'Description of participants and follow-up time',
    anchor: 'absence',
    note: 'Seen and unseen compared; longest follow-up with the lasting gain.',
  },
  {
    number: 15,
    item: 'Numbers of outcome events over time',
    anchor: 'survival',
    note: 'Losses, numbers at risk, second treatments.',
  },
  {
    number: 16,
    item: 'Main results with intervals',
    anchor: 'retention',
    note: 'Every estimate with interval and number.',
  },
  {
    number: 17,
    item: 'Other analyses',
    anchor: 'separation',
    note: 'Groups, what gave way, two models, other rules.',
  },
  { number: 18, item: 'Key results in summary', anchor: 'answer', note: 'The answers in words.' },
  {
    number: 19,
    item: 'Limitations',
    anchor: 'cautions',
    note: 'What to bear in mind; the authors add what the records cannot know.',
  },
  { number: 20, item: 'Interpretation', anchor: null, note: 'For the authors.' },
  { number: 21, item: 'Whether it holds elsewhere', anchor: null, note: 'For the authors.' },
  { number: 22, item: 'Funding', anchor: null, note: 'For the authors.' },
];
