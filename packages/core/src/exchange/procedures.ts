import { z } from 'zod';
import {
  definitionVersionSchema,
  devicesAnswerSchema,
  enrolAnswerSchema,
  enrolInputSchema,
  inviteAnswerSchema,
  inviteInputSchema,
  publishInputSchema,
  pullAnswerSchema,
  pullInputSchema,
  pushAnswerSchema,
  pushInputSchema,
  removeMemberAnswerSchema,
  removeMemberInputSchema,
  revokeInputSchema,
  roleSchema,
  sessionAnswerSchema,
  sheetInputSchema,
  shownAuditEntrySchema,
  tokenSchema,
  type Role,
} from './messages';
import {
  pooledAnswerSchema,
  pooledInputSchema,
  statisticsAnswerSchema,
  statisticsInputSchema,
} from './pooled-messages';

/** One thing that a clinic's program can ask of the service. */
export interface Procedure {
  /** Who may ask; `anyone` needs no token. */
  readonly roles: readonly Role[] | 'anyone';
  readonly input: z.ZodType;
  readonly answer: z.ZodType;
}

const everyRole = roleSchema.options;
const nothing = z.strictObject({});

/** Everything that can be asked of the service; each is one POST to `/rpc/<name>` with the input as JSON. */
export const PROCEDURES = {
  /** The versions of the protocol that the service understands. */
  protocol: {
    roles: 'anyone',
    input: nothing,
    answer: z.strictObject({ oldest: z.int().min(1), newest: z.int().min(1) }),
  },
  /** Exchanges an enrolment code for a device's token; the code is used up. */
  enrol: { roles: 'anyone', input: enrolInputSchema, answer: enrolAnswerSchema },
  session: { roles: everyRole, input: nothing, answer: sessionAnswerSchema },
  /** A new token for the asking device. The old one works until the new one is used, so that a lost answer locks nobody out. */
  rotateToken: { roles: everyRole, input: nothing, answer: z.strictObject({ token: tokenSchema }) },
  devices: { roles: everyRole, input: nothing, answer: devicesAnswerSchema },
  /** Ends devices of the own member; the coordinator ends any. */
  revoke: { roles: everyRole, input: revokeInputSchema, answer: z.strictObject({ revoked: z.int().min(0) }) },
  /**
   * Takes a member out of the study with everything that it sent, for good: its devices and codes stop working, and its
   * patients count as withdrawn.
   */
  removeMember: {
    roles: ['coordinator'],
    input: removeMemberInputSchema,
    answer: removeMemberAnswerSchema,
  },
  /** An enrolment code: a member invites its further devices, the coordinator also new members. */
  invite: { roles: everyRole, input: inviteInputSchema, answer: inviteAnswerSchema },
  definition: { roles: everyRole, input: nothing, answer: definitionVersionSchema },
  publish: {
    roles: ['coordinator'],
    input: publishInputSchema,
    answer: z.strictObject({ version: z.int().min(1) }),
  },
  push: { roles: ['centre'], input: pushInputSchema, answer: pushAnswerSchema },
  pull: { roles: ['centre', 'coordinator'], input: pullInputSchema, answer: pullAnswerSchema },
  /**
   * What a centre says of itself as a whole; the latest one counts. It also says that all records made under its
   * definition have been sent: a centre joins the pool of a definition with it, so it goes after the records.
   */
  sheet: { roles: ['centre'], input: sheetInputSchema, answer: nothing },
  /** The sums of a centre that may not send records; they replace its former ones. */
  statistics: { roles: ['centre'], input: statisticsInputSchema, answer: statisticsAnswerSchema },
  /** The pooled answer that the member may see. */
  pooled: { roles: everyRole, input: pooledInputSchema, answer: pooledAnswerSchema },
  /** Who did what, newest first. */
  audit: {
    roles: ['coordinator'],
    input: z.strictObject({ limit: z.int().min(1).max(1000).default(200) }),
    answer: z.strictObject({ entries: z.array(shownAuditEntrySchema) }),
  },
} as const satisfies Record<string, Procedure>;

export type ProcedureName = keyof typeof PROCEDURES;
/** What is sent to a procedure. */
export type ProcedureInput<Name extends ProcedureName> = z.input<(typeof PROCEDURES)[Name]['input']>;
/** What a procedure answers. */
export type ProcedureAnswer<Name extends ProcedureName> = z.output<(typeof PROCEDURES)[Name]['answer']>;

/** The body of every refusal, beside the HTTP status. */
export const refusalBodySchema = z.object({
  error: z.object({
    /** What would be right, in plain words; it may be shown. */
    message: z.string(),
    data: z.object({ reason: z.string() }),
  }),
});
