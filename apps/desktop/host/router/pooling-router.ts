import {
  enrolmentCodeSchema,
  inviteInputSchema,
  pooledInputSchema,
  publishInputSchema,
  removeMemberInputSchema,
  revokeInputSchema,
  digestSchema,
} from '@longhold/core/exchange';
import { pseudonymSchema } from '@longhold/core/contribution';
import { measureCodeSchema } from '@longhold/core/measures';
import { patientCodeSchema } from '@longhold/core/records';
import { z } from 'zod';
import { sendingSchema } from '../store';
import { openProcedure, router } from '../trpc';

/** Larger than any link file. */
const LARGEST_LINK_FILE = 1_000_000;
/** Records, batches or withdrawals of one page. */
const LARGEST_PAGE = 200;

const passphraseSchema = z.string().min(1, 'a passphrase').max(1024);
const pageSchema = z.strictObject({
  offset: z.int().min(0).default(0),
  limit: z.int().min(1).max(LARGEST_PAGE).default(50),
});

/** Pooling with other clinics: what leaves, what has left, and the study's own affairs. */
export const poolingRouter = router({
  /** At a glance; asks nobody outside this computer. */
  state: openProcedure.query(({ ctx }) => ctx.open.pooling.state()),
  /** Enrols this desktop at a service. */
  link: openProcedure
    .input(
      z.strictObject({
        address: z.string().trim().min(1, 'an address').max(2000),
        code: enrolmentCodeSchema,
        /** What the clinic chose to send; null where it chooses later, before anything is sent. */
        sends: sendingSchema.nullable().default(null),
      }),
    )
    .mutation(({ ctx, input }) => ctx.open.pooling.link(input.address, input.code, input.sends)),
  /** The same by a file that the clinic's other desktop made; both then make the same pseudonyms. */
  linkByFile: openProcedure
    .input(z.strictObject({ text: z.string().max(LARGEST_LINK_FILE), passphrase: passphraseSchema }))
    .mutation(({ ctx, input }) => ctx.open.pooling.linkByFile(input.text, input.passphrase)),
  makeLinkFile: openProcedure
    .input(z.strictObject({ passphrase: passphraseSchema }))
    .mutation(({ ctx, input }) => ctx.open.pooling.makeLinkFile(input.passphrase)),
  /** Ends this desktop's access. What is in the pool stays there; receipts and history stay here. */
  unlink: openProcedure.mutation(({ ctx }) => ctx.open.pooling.unlink()),

  /** Starts asking the service what is new; withdraws first where consent is gone. */
  check: openProcedure.mutation(({ ctx }) => ctx.open.pooling.startCheck()),
  /** Null until a study definition is known, and for who contributes nothing. Asks nobody outside this computer. */
  preview: openProcedure.query(({ ctx }) => ctx.open.pooling.preview()),
  /** Records of the very preview of that digest. */
  records: openProcedure
    .input(
      pageSchema.extend({
        digest: digestSchema,
        standing: z.enum(['new', 'changed', 'in-pool', 'conflict']).nullable().default(null),
        /** Part of a code of the clinic; empty for all. */
        search: z.string().max(100).default(''),
      }),
    )
    .query(({ ctx, input }) => ctx.open.pooling.records(input)),
  /** How far the making of what would leave is. */
  making: openProcedure.query(({ ctx }) => ctx.open.pooling.making()),
  /** Stops making it; whoever waits for it is told so. */
  stopMaking: openProcedure.mutation(({ ctx }) => ctx.open.pooling.stopMaking()),
  /** What it means to send records, or statistics, from now on, and what would be taken out first. */
  sendingPlan: openProcedure
    .input(z.strictObject({ to: sendingSchema }))
    .query(({ ctx, input }) => ctx.open.pooling.sending.plan(input.to)),
  /** Does what the plan of that digest says. */
  changeSending: openProcedure
    .input(z.strictObject({ to: sendingSchema, digest: digestSchema }))
    .mutation(({ ctx, input }) => ctx.open.pooling.sending.change(input)),
  /** The statistics that would leave in place of records, but for their long tables. */
  statistics: openProcedure.query(({ ctx }) => ctx.open.pooling.sending.preview()),
  /** A page of a long table of the very statistics of that digest. */
  statisticsRows: openProcedure
    .input(
      pageSchema.extend({
        digest: digestSchema,
        measure: measureCodeSchema,
        table: z.enum(['losses', 'endings', 'gains']),
      }),
    )
    .query(({ ctx, input }) => ctx.open.pooling.sending.rows(input)),
  /** The same statistics whole, as JSON. */
  statisticsText: openProcedure
    .input(z.strictObject({ digest: digestSchema }))
    .query(({ ctx, input }) => ctx.open.pooling.sending.text(input.digest)),
  /** Starts sending the statistics that the preview of that digest shows. */
  sendStatistics: openProcedure
    .input(
      z.strictObject({
        digest: digestSchema,
        /** Another desktop's statistics that they are to replace. */
        inPlaceOf: digestSchema.nullable().default(null),
      }),
    )
    .mutation(({ ctx, input }) => ctx.open.pooling.sending.send(input)),
  /** Takes the clinic's statistics out of the pool; they are named by their digest. */
  takeStatisticsOut: openProcedure
    .input(z.strictObject({ held: digestSchema }))
    .mutation(({ ctx, input }) => ctx.open.pooling.sending.takeOut(input.held)),
  /** Starts sending what the preview of that digest shows; refused when it is no longer what would leave. */
  send: openProcedure
    .input(z.strictObject({ digest: digestSchema }))
    .mutation(({ ctx, input }) => ctx.open.pooling.startSend(input.digest)),
  progress: openProcedure.query(({ ctx }) => ctx.open.pooling.progress()),
  /** Stops after the request that is under way; what was confirmed is sent at the next occasion. */
  stop: openProcedure.mutation(({ ctx }) => ctx.open.pooling.stop()),
  /** What was sent, newest first. */
  history: openProcedure.input(pageSchema).query(({ ctx, input }) => ctx.open.pooling.history(input)),

  /** Withdraws a patient for good, by code, or by pseudonym where this store has no such patient; starts an exchange. */
  withdraw: openProcedure
    .input(
      z.union([z.strictObject({ code: patientCodeSchema }), z.strictObject({ pseudonym: pseudonymSchema })]),
    )
    .mutation(({ ctx, input }) => ctx.open.pooling.withdraw(input)),
  /** Withdraws all patients whose withdrawal waits for a confirmation; the digest of the preview names them. */
  confirmWithdrawals: openProcedure
    .input(z.strictObject({ digest: digestSchema }))
    .mutation(({ ctx, input }) => ctx.open.pooling.confirmWithdrawals(input.digest)),
  /** All withdrawals with their receipts, newest first. */
  withdrawals: openProcedure.query(({ ctx }) => ctx.open.pooling.withdrawals()),
  conflicts: openProcedure.query(({ ctx }) => ctx.open.pooling.conflicts()),
  /** Settles a conflict; both versions are named so that a choice never falls on one that was not shown. */
  choose: openProcedure
    .input(
      z.strictObject({
        pseudonym: pseudonymSchema,
        keep: z.enum(['mine', 'theirs']),
        mineDigest: digestSchema,
        theirsVersion: digestSchema,
      }),
    )
    .mutation(({ ctx, input }) => ctx.open.pooling.choose(input)),

  /** The pooled answer that this member may see; asks the service. */
  pooled: openProcedure
    .input(pooledInputSchema)
    .query(({ ctx, input }) => ctx.open.pooling.ask('pooled', input)),
  /** Devices of this member; of all members for the coordinator. */
  devices: openProcedure.query(({ ctx }) => ctx.open.pooling.ask('devices', {})),
  /** A code for a further device of this member; the coordinator also invites new members. */
  invite: openProcedure
    .input(inviteInputSchema)
    .mutation(({ ctx, input }) => ctx.open.pooling.ask('invite', input)),
  revoke: openProcedure
    .input(revokeInputSchema)
    .mutation(({ ctx, input }) => ctx.open.pooling.ask('revoke', input)),
  /** Takes a member out of the study for good, with all that it sent; for the coordinator. */
  removeMember: openProcedure
    .input(removeMemberInputSchema)
    .mutation(({ ctx, input }) => ctx.open.pooling.ask('removeMember', input)),
  /** A new version of the study definition; for the coordinator. */
  publish: openProcedure
    .input(publishInputSchema)
    .mutation(({ ctx, input }) => ctx.open.pooling.publish(input)),
  /** Who did what at the service, newest first; for the coordinator. */
  audit: openProcedure
    .input(z.strictObject({ limit: z.int().min(1).max(1000).default(200) }))
    .query(({ ctx, input }) => ctx.open.pooling.ask('audit', input)),
});
