package ledger

import (
	"encoding/hex"
	"encoding/json"
	"fmt"
	"slices"

	"github.com/google/uuid"
)

// ObjectRef is a stored object that a record speaks of, by its leaves alone.
type ObjectRef struct {
	Key    string
	SHA256 []byte
	Size   int64  // -1: the leaf does not say
	What   string // for people
}

// BundleObjects lists every object that the leaves of an export commit to and that no later leaf says was deleted: delivered
// files, references, evidence. Check the export first.
func BundleObjects(doc []byte) ([]ObjectRef, error) {
	var b bundle
	if err := json.Unmarshal(doc, &b); err != nil {
		return nil, fmt.Errorf("bundle: %w", err)
	}
	var out []ObjectRef
	removed := map[string]bool{}
	for i, raw := range b.Leaves {
		var l leaf
		if err := json.Unmarshal([]byte(raw.Body), &l); err != nil {
			return nil, fmt.Errorf("leaf %d: %w", i, err)
		}
		var d struct {
			Files          json.RawMessage `json:"files"`
			EvidenceSHA256 string          `json:"evidence_sha256"`
			Delivery       uuid.UUID       `json:"delivery"`
			Removed        []struct{ Object string }
		}
		if err := json.Unmarshal(l.Data, &d); err != nil {
			return nil, fmt.Errorf("leaf %d: %w", i, err)
		}
		switch l.Kind {
		case FactDeliverySealed, FactReferencesGiven:
			var files []struct {
				Path, Object, SHA256 string
				Size                 int64
			}
			if err := json.Unmarshal(d.Files, &files); err != nil {
				return nil, fmt.Errorf("leaf %d: %w", i, err)
			}
			for _, f := range files {
				sum, err := hex.DecodeString(f.SHA256)
				if err != nil {
					return nil, fmt.Errorf("leaf %d: %w", i, err)
				}
				out = append(out, ObjectRef{f.Object, sum, f.Size, fmt.Sprintf("%s of %s", f.Path, l.Subject)})
			}
		case FactBytesRemoved:
			for _, f := range d.Removed {
				removed[f.Object] = true
			}
		case FactInspectionRecorded:
			if sum, err := hex.DecodeString(d.EvidenceSHA256); err == nil && len(sum) > 0 {
				out = append(out, ObjectRef{fmt.Sprintf("wo/%s/evidence/%s", b.Log, d.EvidenceSHA256), sum, -1, fmt.Sprintf("evidence of delivery %s", d.Delivery)})
			}
		}
	}
	return slices.DeleteFunc(out, func(o ObjectRef) bool { return removed[o.Key] }), nil
}
