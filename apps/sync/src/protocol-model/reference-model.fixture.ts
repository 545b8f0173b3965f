import type { RecordVersion } from '@longhold/core/exchange';

/*
 * What the protocol promises, as small as it can be said: a map of patients for each clinic. The service is compared with
 * it after every command.
 */

type SentRecord = Extract<RecordVersion, { kind: 'record' }>;

/** One patient of one clinic. */
export interface ModelPatient {
  /** The newest version; null before the first and after the withdrawal. */
  head: SentRecord | null;
  /** Versions that need not come again, with the batch that brought them or the one made from them. */
  readonly known: Map<string, string>;
  /** Sequence numbers that were answered, by version. */
  readonly sequences: Map<string, number>;
  /** Definition under which the newest version came. */
  definition: number;
  /** Versions that were stored. */
  stored: number;
  /** Null where not withdrawn. The receipt is not known before its answer. */
  withdrawn: { receipt: unknown; readonly versionsRemoved: number; readonly month: string } | null;
}

/** A device of a clinic, by its tokens. */
export interface ModelDevice {
  readonly id: string;
  readonly centre: number;
  token: string;
  /** Given by a rotation and not used yet. */
  next: string | null;
  revoked: boolean;
}

/** A batch that was answered. */
export interface ModelBatch {
  readonly centre: number;
  readonly input: {
    readonly batch: string;
    readonly definition: number;
    readonly items: readonly RecordVersion[];
  };
  readonly sequence: number;
}

/** The whole study as a clinic may count on it. */
export interface Model {
  definition: number;
  devices: ModelDevice[];
  /** One map by pseudonym for each clinic. */
  readonly centres: Map<string, ModelPatient>[];
  batches: ModelBatch[];
  /** No answered sequence number is larger. */
  sequence: number;
}

/** What a record or a withdrawal must be answered. */
export type ExpectedAnswer = 'stored' | 'already-stored' | 'conflict' | 'gone' | 'withdrawn';

/** The patient of a pseudonym, made where there is none. */
export function patientOf(model: Model, centre: number, pseudonym: string): ModelPatient {
  const patients = model.centres[centre];
  if (patients === undefined) throw new Error('there is no such centre in the model');
  const known = patients.get(pseudonym);
  if (known !== undefined) return known;
  const fresh: ModelPatient = {
    head: null,
    known: new Map(),
    sequences: new Map(),
    definition: 0,
    stored: 0,
    withdrawn: null,
  };
  patients.set(pseudonym, fresh);
  return fresh;
}

/** Takes a batch that is sent for the first time, and says what each of its items must be answered. */
export function takeBatch(
  model: Model,
  centre: number,
  input: ModelBatch['input'],
  month: string,
): ExpectedAnswer[] {
  const first = input.items.map((item) => takeItem(model, centre, { item, ...input, month }));
  // The answer holds when it is given: a record that the same batch withdraws is gone.
  return first.map((answer, index) => {
    const item = input.items[index];
    if (item === undefined || item.kind === 'withdrawal') return answer;
    return patientOf(model, centre, item.record.pseudonym).withdrawn === null ? answer : 'gone';
  });
}

function takeItem(
  model: Model,
  centre: number,
  {
    item,
    batch,
    definition,
    month,
  }: {
    readonly item: RecordVersion;
    readonly batch: string;
    readonly definition: number;
    readonly month: string;
  },
): ExpectedAnswer {
  const patient = patientOf(model, centre, item.kind === 'record' ? item.record.pseudonym : item.pseudonym);
  if (item.kind === 'withdrawal') {
    patient.withdrawn ??= { receipt: null, versionsRemoved: patient.stored, month };
    patient.head = null;
    return 'withdrawn';
  }
  if (patient.withdrawn !== null) return 'gone';
  const bringer = patient.known.get(item.version);
  if (bringer !== undefined) return bringer === batch ? 'stored' : 'already-stored';
  if (patient.head !== null && patient.head.version !== item.basedOn) return 'conflict';
  patient.head = item;
  patient.definition = definition;
  patient.stored++;
  patient.known.set(item.version, batch);
  if (item.basedOn !== null && !patient.known.has(item.basedOn)) patient.known.set(item.basedOn, batch);
  return 'stored';
}

/** What each item of a batch must be answered when it comes again; changes nothing. */
export function repeatBatch(
  model: Model,
  centre: number,
  { batch, items }: ModelBatch['input'],
): ExpectedAnswer[] {
  return items.map((item) => {
    if (item.kind === 'withdrawal') return 'withdrawn';
    const patient = patientOf(model, centre, item.record.pseudonym);
    if (patient.withdrawn !== null) return 'gone';
    const bringer = patient.known.get(item.version);
    if (bringer === undefined) return 'conflict';
    return bringer === batch ? 'stored' : 'already-stored';
  });
}

/** A copy that later commands do not change; for a backup. */
export function copyOf(model: Model): Model {
  return structuredClone(model);
}
