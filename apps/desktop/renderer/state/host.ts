import { client } from '../rpc/client';

/** The host's procedures; every call to it starts here. */
export const host = client;

type Answered<Call extends (...args: never[]) => Promise<unknown>> = Awaited<ReturnType<Call>>;

export type SessionState = Answered<typeof host.session.state.query>;
export type OpenStore = NonNullable<SessionState['store']>;
export type SessionDefaults = Answered<typeof host.session.defaults.query>;
export type ImportResult = Answered<typeof host.records.preview.mutate>;
export type ImportFault = ImportResult['faults'][number];
export type ImportTexts = Parameters<typeof host.records.preview.mutate>[0];
export type RecallList = Answered<typeof host.recall.list.query>;
export type RecallRow = RecallList['rows'][number];
export type MeasureErrors = Answered<typeof host.methods.errors.query>;
export type OutcomeSummary = Extract<Answered<typeof host.outcomes.poll.query>, { state: 'done' }>['answer'];
export type PatientRow = Answered<typeof host.outcomes.patients.query>[number];
export type PatientDetail = Answered<typeof host.outcomes.patient.query>;
export type RecallWorthList = Answered<typeof host.outcomes.worth.query>;
export type Worth = RecallWorthList['patients'][number];
export type SavedView = Answered<typeof host.views.list.query>[number];
export type GrowthTableFacts = Answered<typeof host.growthTables.list.query>[number];
export type ReportTexts = Answered<typeof host.report.texts.query>;

type PoolingCalls = typeof host.pooling;
export type PoolingState = Answered<PoolingCalls['state']['query']>;
export type PoolingLink = NonNullable<PoolingState['link']>;
export type PoolingProgress = Answered<PoolingCalls['progress']['query']>;
export type PoolingPreview = NonNullable<Answered<PoolingCalls['preview']['query']>>;
export type StatisticsPreview = NonNullable<Answered<PoolingCalls['statistics']['query']>>;
export type StatisticsRows = Answered<PoolingCalls['statisticsRows']['query']>;
export type SendingPlan = Answered<PoolingCalls['sendingPlan']['query']>;
export type Sending = SendingPlan['to'];
export type MakingProgress = Answered<PoolingCalls['making']['query']>;
export type PatientInPool = PoolingPreview['withdrawals'][number];
export type PreviewedRecord = Answered<PoolingCalls['records']['query']>['rows'][number];
export type RecordStanding = PreviewedRecord['standing'];
export type SentBatch = Answered<PoolingCalls['history']['query']>['rows'][number];
export type Withdrawal = Answered<PoolingCalls['withdrawals']['query']>[number];
export type PoolingConflict = Answered<PoolingCalls['conflicts']['query']>[number];
export type PooledReply = Answered<PoolingCalls['pooled']['query']>;
export type ReleasedAnswer = Extract<PooledReply, { kind: 'released' }>;
export type EnrolledDevice = Answered<PoolingCalls['devices']['query']>['devices'][number];
export type AuditEntry = Answered<PoolingCalls['audit']['query']>['entries'][number];
