package ledger

// Fact kinds. Each act is one leaf of one log, at version 1 until its content has to change; a version's projector stays
// for ever, or old leaves could not be checked any more.
const (
	FactProjectCreated         = "project.created" // studio log
	FactVendorEngaged          = "vendor.engaged"  // studio log
	FactWorkOrderPlaced        = "work_order.placed"
	FactPropOrdered            = "prop.ordered"
	FactSpecRevised            = "spec.revised"
	FactSpecAcknowledged       = "spec.acknowledged"
	FactDeliveryOpened         = "delivery.opened"
	FactDeliverySealed         = "delivery.sealed"
	FactDeliveryAbandoned      = "delivery.abandoned"
	FactInspectionRequested    = "inspection.requested"
	FactInspectionRecorded     = "inspection.recorded"
	FactConcessionGranted      = "concession.granted"
	FactSignedOff              = "milestone.signed_off"
	FactPayable                = "milestone.payable"
	FactCancelled              = "milestone.cancelled"
	FactNoteWritten            = "note.written" // studio log where private
	FactCalendarPinned         = "calendar.pinned"
	FactChangeOffered          = "change_order.offered"
	FactChangeDecided          = "change_order.decided"
	FactHeld                   = "milestone.held" // or gone on with
	FactReminded               = "milestone.reminded"
	FactBatchOpened            = "batch.opened"
	FactBatchSealed            = "batch.sealed"
	FactQuestion               = "question.said" // asked, answered, asked again, closed
	FactNoteResolved           = "note.resolved" // studio log where private
	FactPermissionBegun        = "permission.begun"
	FactPermissionDecided      = "permission.decided"
	FactDeputyNamed            = "deputy.named" // studio log
	FactSecrecyAcknowledged    = "secrecy.acknowledged"
	FactReferencesGiven        = "references.given"
	FactReferencesAcknowledged = "references.acknowledged"
	FactMaintenance            = "maintenance.opened"
	FactPaymentHeld            = "payment.held"
	FactPaymentHoldEnded       = "payment.hold_ended"
	FactSetUsed                = "set.used"
	FactHandover               = "handover.made" // studio log
	FactOriginDeclared         = "origin.declared"
	FactReassigned             = "prop.reassigned" // studio log
	FactPersonErased           = "person.erased"   // every log they acted in
	FactRetentionSet           = "retention.set"
	FactBytesRemoved           = "bytes.removed"
)

// projector makes a fact's data from the rows: the same query when the leaf is written and when it is verified, so that
// a leaf says what the rows say by construction. $1 is the studio, $2 the subject. It reads columns that never change.
type projector struct {
	version int
	data    string // one row, one column of jsonb as text
	// subjects lists what must have a fact of this kind in log $2 of studio $1: a row without its fact is found too.
	subjects string
}

// projectors holds every version of every kind, oldest first; the last one is written now.
var projectors = map[string][]projector{
	FactProjectCreated: {{1, `SELECT jsonb_build_object('code', code, 'title', title)::text FROM ph.project WHERE studio_id = $1 AND id = $2`,
		`SELECT id FROM ph.project WHERE studio_id = $1 AND studio_id = $2`}},
	FactVendorEngaged: {{1, `SELECT jsonb_build_object('vendor', vendor_id, 'name', vendor_name)::text FROM ph.engagement WHERE studio_id = $1 AND vendor_id = $2`,
		`SELECT vendor_id FROM ph.engagement WHERE studio_id = $1 AND studio_id = $2`}},
	FactWorkOrderPlaced: {{1, `SELECT jsonb_build_object('studio', studio_id, 'vendor', vendor_id, 'code', code, 'title', title, 'currency', currency,
			'rounds_included', rounds_included, 'review_days', review_days, 'terms_sha256', encode(sha256(convert_to(terms, 'UTF8')), 'hex'))::text
		FROM ph.work_order WHERE studio_id = $1 AND id = $2`,
		`SELECT id FROM ph.work_order WHERE studio_id = $1 AND id = $2`},
		{2, `SELECT jsonb_build_object('studio', studio_id, 'vendor', vendor_id, 'code', code, 'title', title, 'currency', currency,
				'rounds_included', rounds_included, 'review_days', review_days, 'silence_accepts', silence_accepts, 'kill_fee_bp', kill_fee_bp, 'codename', codename, 'nda_required', nda_required, 'source_roles', source_roles,
				'terms_sha256', encode(sha256(convert_to(terms, 'UTF8')), 'hex'))::text
			FROM ph.work_order WHERE studio_id = $1 AND id = $2`,
			`SELECT id FROM ph.work_order WHERE studio_id = $1 AND id = $2`},
		{3, `SELECT jsonb_build_object('studio', studio_id, 'vendor', vendor_id, 'code', code, 'title', title, 'currency', currency,
				'rounds_included', rounds_included, 'review_days', review_days, 'silence_accepts', silence_accepts, 'kill_fee_bp', kill_fee_bp, 'codename', codename, 'nda_required', nda_required, 'source_roles', source_roles,
				'origin_required', origin_required, 'terms_sha256', encode(sha256(convert_to(terms, 'UTF8')), 'hex'))::text
			FROM ph.work_order WHERE studio_id = $1 AND id = $2`,
			`SELECT id FROM ph.work_order WHERE studio_id = $1 AND id = $2`}},
	FactPropOrdered: {{1, `SELECT jsonb_build_object('code', p.code, 'title', p.title, 'tier', p.tier, 'price_minor', p.price_minor, 'milestones',
			(SELECT jsonb_agg(jsonb_build_object('id', m.id, 'kind', m.kind, 'share_bp', m.share_bp, 'amount_minor', m.amount_minor, 'due', m.due_on) ORDER BY m.position)
			 FROM ph.milestone m WHERE m.studio_id = p.studio_id AND m.prop_id = p.id AND m.kind <> 'maintenance'))::text
		FROM ph.prop p WHERE p.studio_id = $1 AND p.id = $2`,
		`SELECT id FROM ph.prop WHERE studio_id = $1 AND work_order_id = $2`},
		{2, `SELECT jsonb_build_object('code', p.code, 'title', p.title, 'kind', p.kind, 'kit', p.kit, 'pilot', p.pilot, 'tier', p.tier, 'price_minor', p.price_minor, 'milestones',
				(SELECT jsonb_agg(jsonb_build_object('id', m.id, 'kind', m.kind, 'share_bp', m.share_bp, 'amount_minor', m.amount_minor, 'due', m.due_on) ORDER BY m.position)
				 FROM ph.milestone m WHERE m.studio_id = p.studio_id AND m.prop_id = p.id AND m.kind <> 'maintenance'))::text
			FROM ph.prop p WHERE p.studio_id = $1 AND p.id = $2`,
			`SELECT id FROM ph.prop WHERE studio_id = $1 AND work_order_id = $2`}},
	FactSpecRevised: {{1, `SELECT jsonb_build_object('prop', prop_id, 'number', number, 'parent', parent_id, 'digest', encode(digest, 'hex'),
			'document_sha256', encode(sha256(document), 'hex'), 'note', note)::text
		FROM ph.spec_revision WHERE studio_id = $1 AND id = $2`,
		`SELECT id FROM ph.spec_revision WHERE studio_id = $1 AND work_order_id = $2`}},
	FactSpecAcknowledged: {{1, `SELECT jsonb_build_object('prop', prop_id, 'spec_revision', spec_revision_id)::text FROM ph.spec_ack WHERE studio_id = $1 AND id = $2`,
		`SELECT id FROM ph.spec_ack WHERE studio_id = $1 AND work_order_id = $2`}},
	FactDeliveryOpened: {{1, `SELECT jsonb_build_object('milestone', milestone_id, 'number', number, 'manifest_sha256', encode(manifest_sha256, 'hex'),
			'files', files, 'bytes', bytes, 'spec_revision', spec_revision_id, 'note', note)::text
		FROM ph.delivery WHERE studio_id = $1 AND id = $2`,
		`SELECT id FROM ph.delivery WHERE studio_id = $1 AND work_order_id = $2`},
		{2, `SELECT jsonb_build_object('milestone', milestone_id, 'number', number, 'batch', batch_id, 'manifest_sha256', encode(manifest_sha256, 'hex'),
				'files', files, 'bytes', bytes, 'spec_revision', spec_revision_id, 'note', note)::text
			FROM ph.delivery WHERE studio_id = $1 AND id = $2`,
			`SELECT id FROM ph.delivery WHERE studio_id = $1 AND work_order_id = $2`}},
	FactDeliverySealed: {{1, `SELECT jsonb_build_object('milestone', d.milestone_id, 'number', d.number, 'manifest_sha256', encode(d.manifest_sha256, 'hex'), 'files',
			(SELECT jsonb_agg(jsonb_build_object('id', f.id, 'path', f.path, 'role', f.role, 'size', f.size, 'sha256', encode(f.sha256, 'hex'),
				'object', f.object_key, 'etag', f.etag) ORDER BY f.ord) FROM ph.file f WHERE f.studio_id = d.studio_id AND f.delivery_id = d.id))::text
		FROM ph.delivery d WHERE d.studio_id = $1 AND d.id = $2 AND d.state = 'sealed'`,
		`SELECT id FROM ph.delivery WHERE studio_id = $1 AND work_order_id = $2 AND state = 'sealed'`},
		{2, `SELECT jsonb_build_object('milestone', d.milestone_id, 'number', d.number, 'round_cause', d.round_cause, 'manifest_sha256', encode(d.manifest_sha256, 'hex'), 'files',
				(SELECT jsonb_agg(jsonb_build_object('id', f.id, 'path', f.path, 'role', f.role, 'size', f.size, 'sha256', encode(f.sha256, 'hex'),
					'object', f.object_key, 'etag', f.etag) ORDER BY f.ord) FROM ph.file f WHERE f.studio_id = d.studio_id AND f.delivery_id = d.id))::text
			FROM ph.delivery d WHERE d.studio_id = $1 AND d.id = $2 AND d.state = 'sealed'`,
			`SELECT id FROM ph.delivery WHERE studio_id = $1 AND work_order_id = $2 AND state = 'sealed'`}},
	FactDeliveryAbandoned: {{1, `SELECT jsonb_build_object('milestone', milestone_id, 'number', number)::text
		FROM ph.delivery WHERE studio_id = $1 AND id = $2 AND state = 'abandoned'`,
		`SELECT id FROM ph.delivery WHERE studio_id = $1 AND work_order_id = $2 AND state = 'abandoned'`}},
	FactInspectionRequested: {{1, `SELECT jsonb_build_object('delivery', delivery_id, 'milestone', milestone_id, 'spec_revision', spec_revision_id, 'reason', reason)::text
		FROM ph.inspection WHERE studio_id = $1 AND id = $2`,
		`SELECT id FROM ph.inspection WHERE studio_id = $1 AND work_order_id = $2 AND reason <> ''`}},
	// findings_sha256 is the digest as recorded; verification makes it again from the rows of ph.finding.
	FactInspectionRecorded: {{1, `SELECT jsonb_build_object('delivery', delivery_id, 'milestone', milestone_id, 'spec_revision', spec_revision_id, 'fence', fence, 'attempts', attempts,
			'engine', engine, 'engine_digest', engine_digest, 'verdict', verdict, 'cause', cause, 'evidence_sha256', encode(evidence_sha256, 'hex'),
			'findings_sha256', encode(findings_sha256, 'hex'), 'findings', findings, 'issues', issues)::text
		FROM ph.inspection WHERE studio_id = $1 AND id = $2 AND state = 'done'`,
		`SELECT id FROM ph.inspection WHERE studio_id = $1 AND work_order_id = $2 AND state = 'done'`},
		{2, `SELECT jsonb_build_object('delivery', delivery_id, 'milestone', milestone_id, 'spec_revision', spec_revision_id, 'fence', fence, 'attempts', attempts,
				'engine', engine, 'engine_digest', engine_digest, 'verdict', verdict, 'cause', cause, 'evidence_sha256', encode(evidence_sha256, 'hex'),
				'findings_sha256', encode(findings_sha256, 'hex'), 'findings', findings, 'issues', issues, 'permitted', permitted, 'objects_sha256',
				(SELECT encode(sha256(convert_to(string_agg(concat_ws(' ', e.name, encode(e.sha256, 'hex'), e.size, e.object_key, e.media_type, e.what), E'\n' ORDER BY e.name), 'UTF8')), 'hex')
				 FROM ph.evidence e WHERE e.studio_id = i.studio_id AND e.inspection_id = i.id))::text
			FROM ph.inspection i WHERE studio_id = $1 AND id = $2 AND state = 'done'`,
			`SELECT id FROM ph.inspection WHERE studio_id = $1 AND work_order_id = $2 AND state = 'done'`}},
	FactConcessionGranted: {{1, `SELECT jsonb_build_object('delivery', delivery_id, 'inspection', inspection_id, 'ord', ord, 'check', chk, 'reason', reason)::text
		FROM ph.concession WHERE studio_id = $1 AND id = $2`,
		`SELECT id FROM ph.concession WHERE studio_id = $1 AND work_order_id = $2`},
		{2, `SELECT jsonb_build_object('delivery', delivery_id, 'inspection', inspection_id, 'ord', ord, 'check', chk, 'reason', reason, 'permission', permission_id)::text
			FROM ph.concession WHERE studio_id = $1 AND id = $2`,
			`SELECT id FROM ph.concession WHERE studio_id = $1 AND work_order_id = $2`}},
	FactSignedOff: {{1, `SELECT jsonb_build_object('milestone', milestone_id, 'delivery', delivery_id, 'inspection', inspection_id, 'decision', decision,
			'reason', reason, 'role', by_role)::text
		FROM ph.sign_off WHERE studio_id = $1 AND id = $2`,
		`SELECT id FROM ph.sign_off WHERE studio_id = $1 AND work_order_id = $2`},
		{2, `SELECT jsonb_build_object('milestone', milestone_id, 'delivery', delivery_id, 'inspection', inspection_id, 'decision', decision,
				'reason', reason, 'cause', cause, 'role', by_role, 'deputy', deputy_id, 'reminder', reminder_id, 'effective_at', ph.stamp(effective_at))::text
			FROM ph.sign_off WHERE studio_id = $1 AND id = $2`,
			`SELECT id FROM ph.sign_off WHERE studio_id = $1 AND work_order_id = $2`}},
	FactPayable: {{1, `SELECT jsonb_build_object('milestone', milestone_id, 'sign_off', sign_off_id, 'amount_minor', amount_minor, 'currency', currency)::text
		FROM ph.payable WHERE studio_id = $1 AND id = $2`,
		`SELECT id FROM ph.payable WHERE studio_id = $1 AND work_order_id = $2`},
		{2, `SELECT jsonb_build_object('milestone', milestone_id, 'kind', kind, 'sign_off', sign_off_id, 'cancellation', cancellation_id,
				'amount_minor', amount_minor, 'currency', currency)::text
			FROM ph.payable WHERE studio_id = $1 AND id = $2`,
			`SELECT id FROM ph.payable WHERE studio_id = $1 AND work_order_id = $2`}},
	FactCancelled: {{1, `SELECT jsonb_build_object('milestone', milestone_id, 'reason', reason)::text FROM ph.cancellation WHERE studio_id = $1 AND id = $2`,
		`SELECT id FROM ph.cancellation WHERE studio_id = $1 AND work_order_id = $2`},
		{2, `SELECT jsonb_build_object('milestone', milestone_id, 'reason', reason, 'fee_minor', fee_minor)::text FROM ph.cancellation WHERE studio_id = $1 AND id = $2`,
			`SELECT id FROM ph.cancellation WHERE studio_id = $1 AND work_order_id = $2`}},
	FactNoteWritten: {{1, `SELECT jsonb_build_object('delivery', delivery_id, 'side', side, 'private', vendor_id IS NULL,
			'text_commit', encode(sha256(salt || convert_to(text, 'UTF8')), 'hex'))::text FROM ph.note WHERE studio_id = $1 AND id = $2`,
		`SELECT id FROM ph.note WHERE studio_id = $1 AND ((vendor_id IS NOT NULL AND work_order_id = $2) OR (vendor_id IS NULL AND studio_id = $2))`},
		{2, `SELECT jsonb_build_object('delivery', delivery_id, 'side', side, 'private', vendor_id IS NULL, 'pin', pin, 'reply_to', reply_to,
				'text_commit', encode(sha256(salt || convert_to(text, 'UTF8')), 'hex'))::text FROM ph.note WHERE studio_id = $1 AND id = $2`,
			`SELECT id FROM ph.note WHERE studio_id = $1 AND ((vendor_id IS NOT NULL AND work_order_id = $2) OR (vendor_id IS NULL AND studio_id = $2))`},
		{3, `SELECT jsonb_build_object('delivery', delivery_id, 'side', side, 'private', vendor_id IS NULL, 'pin', pin, 'reply_to', reply_to, 'sketch', sketch,
				'text_commit', encode(sha256(salt || convert_to(text, 'UTF8')), 'hex'))::text FROM ph.note WHERE studio_id = $1 AND id = $2`,
			`SELECT id FROM ph.note WHERE studio_id = $1 AND ((vendor_id IS NOT NULL AND work_order_id = $2) OR (vendor_id IS NULL AND studio_id = $2))`}},
	FactCalendarPinned: {{1, `SELECT jsonb_build_object('side', side, 'number', number, 'time_zone', time_zone, 'workdays', workdays, 'holidays', holidays)::text
		FROM ph.order_calendar WHERE studio_id = $1 AND id = $2`,
		`SELECT id FROM ph.order_calendar WHERE studio_id = $1 AND work_order_id = $2`}},
	FactChangeOffered: {{1, `SELECT jsonb_build_object('milestone', milestone_id, 'title', title, 'reason', reason, 'delta_minor', delta_minor, 'due_on', due_on,
			'spec_revision', spec_revision_id, 'delivery', delivery_id)::text FROM ph.change_order WHERE studio_id = $1 AND id = $2`,
		`SELECT id FROM ph.change_order WHERE studio_id = $1 AND work_order_id = $2`}},
	FactChangeDecided: {{1, `SELECT jsonb_build_object('milestone', milestone_id, 'state', state, 'delta_minor', delta_minor, 'due_on', due_on, 'reason', decided_reason)::text
		FROM ph.change_order WHERE studio_id = $1 AND id = $2 AND decided_by IS NOT NULL`,
		`SELECT id FROM ph.change_order WHERE studio_id = $1 AND work_order_id = $2 AND decided_by IS NOT NULL`}},
	FactHeld: {{1, `SELECT jsonb_build_object('milestone', milestone_id, 'event', event, 'reason', reason)::text FROM ph.hold WHERE studio_id = $1 AND id = $2`,
		`SELECT id FROM ph.hold WHERE studio_id = $1 AND work_order_id = $2`}},
	FactReminded: {{1, `SELECT jsonb_build_object('milestone', milestone_id, 'delivery', delivery_id, 'review_due_at', ph.stamp(review_due_at), 'effective_at', ph.stamp(effective_at))::text
		FROM ph.reminder WHERE studio_id = $1 AND id = $2`,
		`SELECT id FROM ph.reminder WHERE studio_id = $1 AND work_order_id = $2`}},
	FactBatchOpened: {{1, `SELECT jsonb_build_object('number', b.number, 'title', b.title, 'deliveries',
			(SELECT jsonb_agg(d.id ORDER BY d.id) FROM ph.delivery d WHERE d.studio_id = b.studio_id AND d.batch_id = b.id))::text
		FROM ph.batch b WHERE b.studio_id = $1 AND b.id = $2`,
		`SELECT id FROM ph.batch WHERE studio_id = $1 AND work_order_id = $2`}},
	FactBatchSealed: {{1, `SELECT jsonb_build_object('number', b.number, 'deliveries',
			(SELECT jsonb_agg(d.id ORDER BY d.id) FROM ph.delivery d WHERE d.studio_id = b.studio_id AND d.batch_id = b.id AND d.state = 'sealed'))::text
		FROM ph.batch b WHERE b.studio_id = $1 AND b.id = $2 AND b.sealed_at IS NOT NULL`,
		`SELECT id FROM ph.batch WHERE studio_id = $1 AND work_order_id = $2 AND sealed_at IS NOT NULL`}},
	FactQuestion: {{1, `SELECT jsonb_build_object('question', m.question_id, 'prop', q.prop_id, 'number', q.number, 'blocks', q.blocks, 'event', m.event, 'side', m.side, 'spec_revision', m.spec_revision_id,
			'text_commit', encode(sha256(m.salt || convert_to(m.text, 'UTF8')), 'hex'))::text
		FROM ph.question_message m JOIN ph.question q ON q.studio_id = m.studio_id AND q.id = m.question_id WHERE m.studio_id = $1 AND m.id = $2`,
		`SELECT id FROM ph.question_message WHERE studio_id = $1 AND work_order_id = $2`}},
	FactNoteResolved: {{1, `SELECT jsonb_build_object('note', note_id, 'side', side, 'resolved', resolved, 'delivery', delivery_id)::text FROM ph.note_resolution WHERE studio_id = $1 AND id = $2`,
		`SELECT id FROM ph.note_resolution WHERE studio_id = $1 AND ((vendor_id IS NOT NULL AND work_order_id = $2) OR (vendor_id IS NULL AND studio_id = $2))`}},
	FactPermissionBegun: {{1, `SELECT jsonb_build_object('kind', kind, 'side', side, 'prop', prop_id, 'kit', kit, 'check', chk, 'part', part, 'set', set_name, 'worst', worst,
			'until', until_on, 'reason', reason)::text FROM ph.permission WHERE studio_id = $1 AND id = $2`,
		`SELECT id FROM ph.permission WHERE studio_id = $1 AND work_order_id = $2`}},
	FactPermissionDecided: {{1, `SELECT jsonb_build_object('permission', permission_id, 'side', side, 'event', event, 'reason', reason)::text FROM ph.permission_decision WHERE studio_id = $1 AND id = $2`,
		`SELECT id FROM ph.permission_decision WHERE studio_id = $1 AND work_order_id = $2`}},
	FactDeputyNamed: {{1, `SELECT jsonb_build_object('role', role, 'member', member_id, 'from', from_on, 'until', until_on)::text FROM ph.deputy WHERE studio_id = $1 AND id = $2`,
		`SELECT id FROM ph.deputy WHERE studio_id = $1 AND studio_id = $2`}},
	FactSecrecyAcknowledged: {{1, `SELECT jsonb_build_object('work_order', work_order_id)::text FROM ph.nda_ack WHERE studio_id = $1 AND id = $2`,
		`SELECT id FROM ph.nda_ack WHERE studio_id = $1 AND work_order_id = $2`}},
	FactReferencesGiven: {{1, `SELECT jsonb_build_object('number', p.number, 'note', p.note, 'files', (SELECT jsonb_agg(jsonb_build_object('path', f.path, 'what', f.what, 'size', f.size,
			'sha256', encode(f.sha256, 'hex'), 'object', f.object_key) ORDER BY f.ord) FROM ph.reference_file f WHERE f.studio_id = p.studio_id AND f.pack_id = p.id))::text
		FROM ph.reference_pack p WHERE p.studio_id = $1 AND p.id = $2 AND p.published_at IS NOT NULL`,
		`SELECT id FROM ph.reference_pack WHERE studio_id = $1 AND work_order_id = $2 AND published_at IS NOT NULL`}},
	FactReferencesAcknowledged: {{1, `SELECT jsonb_build_object('pack', pack_id)::text FROM ph.reference_ack WHERE studio_id = $1 AND id = $2`,
		`SELECT id FROM ph.reference_ack WHERE studio_id = $1 AND work_order_id = $2`}},
	FactMaintenance: {{1, `SELECT jsonb_build_object('prop', prop_id, 'milestone', milestone_id, 'reason', reason)::text FROM ph.maintenance WHERE studio_id = $1 AND id = $2`,
		`SELECT id FROM ph.maintenance WHERE studio_id = $1 AND work_order_id = $2`}},
	FactPaymentHeld: {{1, `SELECT jsonb_build_object('milestone', milestone_id, 'sign_off', sign_off_id, 'amount_minor', amount_minor, 'currency', currency, 'missing', missing)::text
		FROM ph.payment_hold WHERE studio_id = $1 AND id = $2`,
		`SELECT id FROM ph.payment_hold WHERE studio_id = $1 AND work_order_id = $2`}},
	FactPaymentHoldEnded: {{1, `SELECT jsonb_build_object('hold', hold_id, 'waived', waived, 'reason', reason)::text FROM ph.payment_hold_end WHERE studio_id = $1 AND id = $2`,
		`SELECT id FROM ph.payment_hold_end WHERE studio_id = $1 AND work_order_id = $2`}},
	FactSetUsed: {{1, `SELECT jsonb_build_object('prop', prop_id, 'set', set_id, 'delivery', delivery_id, 'side', side)::text FROM ph.set_use WHERE studio_id = $1 AND id = $2`,
		`SELECT id FROM ph.set_use WHERE studio_id = $1 AND work_order_id = $2`}},
	FactHandover: {{1, `SELECT jsonb_build_object('work_order', work_order_id, 'number', number, 'pattern', pattern, 'digest', encode(digest, 'hex'), 'files',
			(SELECT jsonb_agg(jsonb_build_array(l.name, l.file_id) ORDER BY l.ord) FROM ph.handover_file l WHERE l.studio_id = h.studio_id AND l.handover_id = h.id))::text FROM ph.handover h WHERE studio_id = $1 AND id = $2`,
		`SELECT id FROM ph.handover WHERE studio_id = $1 AND studio_id = $2`}},
	FactRetentionSet: {{1, `SELECT jsonb_build_object('superseded_days', superseded_days, 'legal_hold', legal_hold, 'reason', reason)::text FROM ph.retention WHERE studio_id = $1 AND id = $2`,
		`SELECT id FROM ph.retention WHERE studio_id = $1 AND work_order_id = $2`}},
	FactBytesRemoved: {{1, `SELECT jsonb_build_object('delivery', r.delivery_id, 'retention', r.retention_id, 'count', r.files, 'bytes', r.bytes, 'removed',
			(SELECT jsonb_agg(jsonb_build_object('object', f.object_key, 'sha256', encode(f.sha256, 'hex'), 'size', f.size) ORDER BY f.ord) FROM ph.removal_file l
				JOIN ph.file f ON f.studio_id = l.studio_id AND f.id = l.file_id
				WHERE l.studio_id = r.studio_id AND l.removal_id = r.id AND l.vendor_id = r.vendor_id AND l.work_order_id = r.work_order_id))::text
		FROM ph.removal r WHERE r.studio_id = $1 AND r.id = $2`,
		`SELECT id FROM ph.removal WHERE studio_id = $1 AND work_order_id = $2`}},
	FactOriginDeclared: {{1, `SELECT jsonb_build_object('prop', prop_id, 'items', items, 'statement', statement)::text FROM ph.origin_declaration WHERE studio_id = $1 AND id = $2`,
		`SELECT id FROM ph.origin_declaration WHERE studio_id = $1 AND work_order_id = $2`}},
	FactReassigned: {{1, `SELECT jsonb_build_object('from', from_prop, 'to', to_prop, 'pack', pack_id, 'reason', reason)::text FROM ph.reassignment WHERE studio_id = $1 AND id = $2`,
		`SELECT id FROM ph.reassignment WHERE studio_id = $1 AND studio_id = $2`}},
	FactPersonErased: {{1, `SELECT jsonb_build_object('member', member_id, 'reason', reason)::text FROM ph.erasure WHERE studio_id = $1 AND id = $2`,
		`SELECT id FROM ph.erasure WHERE studio_id = $1 AND log_id = $2`}},
}

// written is the version of a kind that is written now.
func written(kind string) projector {
	versions := projectors[kind]
	return versions[len(versions)-1]
}

// projectorOf is the projector of a leaf of any version.
func projectorOf(kind string, version int) (projector, bool) {
	for _, p := range projectors[kind] {
		if p.version == version {
			return p, true
		}
	}
	return projector{}, false
}
