/** Where an item of the checklist is dealt with. */
export interface StrobeItem {
  readonly number: number;
  /** The item in our own words. */
  readonly item: string;
  /** Anchors of the sections that cover it; empty where the authors must write it themselves. */
  readonly anchors: readonly string[];
  /** What the report gives, or what the authors still have to say. */
  readonly note: string;
}

/** What a pooled answer in the report adds to items, by number. */
const POOLED_NOTES: Readonly<Record<number, string>> = {
  5: 'Centres of the pool and what they agreed on; they are known by number only.',
  6: 'Who is in the pool: consent for pooling, flow of its centres.',
  12: 'Pooling in two stages and in one, heterogeneity, each centre left out in turn.',
  13: 'Flow of the pool and of the centres that may be shown.',
  16: 'Means over centres with intervals; numbers that are withheld are marked.',
  19: 'What a comparison of centres cannot show.',
  21: 'Where a further centre is expected, and how far centres differ.',
};

/** The checklist; with what a pooled answer adds where the report has one. */
export function strobeItems(hasPool: boolean): readonly StrobeItem[] {
  if (!hasPool) return STROBE_ITEMS;
  return STROBE_ITEMS.map((one) => {
    const further = POOLED_NOTES[one.number];
    if (further === undefined) return one;
    return { ...one, anchors: [...one.anchors, 'pool'], note: `${one.note} Of the pool: ${further}` };
  });
}

/**
 * The 22 items that reports of cohort studies should cover, in our own words.
 * Source: von Elm and others 2007 (STROBE statement); numbers and subjects from memory.
 */
export const STROBE_ITEMS: readonly StrobeItem[] = [
  {
    number: 1,
    item: 'Design named in title and summary',
    anchors: [],
    note: 'A cohort followed after treatment: the authors say so.',
  },
  { number: 2, item: 'Background and reasons', anchors: [], note: 'For the authors.' },
  {
    number: 3,
    item: 'Objectives',
    anchors: ['question'],
    note: 'The question in full; hypotheses set beforehand are for the authors.',
  },
  {
    number: 4,
    item: 'Design early in the paper',
    anchors: ['paragraph'],
    note: 'First sentence of the methods paragraph.',
  },
  {
    number: 5,
    item: 'Setting, places and dates',
    anchors: [],
    note: 'Clinics and dates of treatment are for the authors; the report holds no calendar dates but the day of reading.',
  },
  {
    number: 6,
    item: 'Who could take part, and follow-up',
    anchors: ['definitions', 'flow'],
    note: 'Which patients were asked about, and the flow; how patients were chosen (consecutive?) is for the authors.',
  },
  {
    number: 7,
    item: 'Outcomes, exposures, confounders defined',
    anchors: ['definitions'],
    note: 'Measure, gain, threshold, rule, and what each group is; confounders beyond the groups are for the authors.',
  },
  {
    number: 8,
    item: 'Sources of data and how measured',
    anchors: ['definitions'],
    note: 'Method error and growth reference; apparatus and examiners are for the authors.',
  },
  {
    number: 9,
    item: 'What was done against bias',
    anchors: ['absence'],
    note: 'Bounds, tipping points, seen against unseen where enough of both are there; selection on success is for the authors.',
  },
  { number: 10, item: 'How the size of the study came about', anchors: [], note: 'For the authors.' },
  {
    number: 11,
    item: 'Handling of quantities and groupings',
    anchors: ['definitions', 'groups'],
    note: 'The threshold, the groups, and where gains were divided.',
  },
  {
    number: 12,
    item: 'Statistical methods, missing data, sensitivity',
    anchors: ['paragraph', 'sensitivity'],
    note: 'Methods paragraph with references; rules, references and other choices side by side.',
  },
  {
    number: 13,
    item: 'Numbers at each stage, and why lost',
    anchors: ['flow', 'gave-way'],
    note: 'Numbers in each analysis, flow by year with reasons, and those left out of the curve and of the splits.',
  },
  {
    number: 14,
    item: 'Description of participants and follow-up time',
    anchors: ['participants', 'absence'],
    note: 'Counts, medians and quartiles with who is not known; length of follow-up; seen and unseen compared.',
  },
  {
    number: 15,
    item: 'Numbers of outcome events over time',
    anchors: ['survival', 'competing'],
    note: 'Losses, numbers at risk, second treatments by year.',
  },
  {
    number: 16,
    item: 'Main results with intervals',
    anchors: ['retention', 'survival', 'separation'],
    note: 'Every share, survival and lasting gain with interval and number. Groups are not adjusted for one another: for the authors.',
  },
  {
    number: 17,
    item: 'Other analyses',
    anchors: ['groups', 'gave-way', 'separation', 'sensitivity'],
    note: 'Groups, what gave way, two models, other rules and references.',
  },
  {
    number: 18,
    item: 'Key results in summary',
    anchors: ['answer'],
    note: 'The answers in words.',
  },
  {
    number: 19,
    item: 'Limitations',
    anchors: ['cautions'],
    note: 'What to bear in mind; the authors add what the records cannot know.',
  },
  { number: 20, item: 'Interpretation', anchors: [], note: 'For the authors.' },
  { number: 21, item: 'Whether it holds elsewhere', anchors: [], note: 'For the authors.' },
  { number: 22, item: 'Funding', anchors: [], note: 'For the authors.' },
];
