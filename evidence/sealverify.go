package evidence

import (
	"crypto/x509"
	"errors"
	"slices"
	"time"
)

// Trust is what whoever verifies brings along. The zero Trust believes nothing
// beforehand: then the findings say what the evidence rests on.
type Trust struct {
	// Founder is the fingerprint of the first key of the lab's list, as the lab has
	// published it; see [Keyring.Founder].
	Founder Digest
	// Keys is the lab's list of keys as it stands now. A key that was revoked after
	// the seal was made is only known from it.
	Keys *Keyring
	// StampRoots are the certificates of time-stamping services that are trusted.
	StampRoots *x509.CertPool
	// Origin is the name of the lab's record.
	Origin string
}

// The parts that findings name.
const (
	partSeal      = "seal"
	partKeys      = "keys"
	partSignature = "signature"
	partRecord    = "record"
	partStamp     = "time stamp"
)

// VerifyBag verifies a bag with the seal in it, offline: its manifests and its one
// right form, the list of files in the signed statement, and everything that
// [Seal.Verify] looks at. What the files say is for others to verify.
func VerifyBag(b *Bag, trust Trust) (Findings, *Seal) {
	found := b.Check()
	data, there := b.Data(SealName)
	if !there {
		found.add(Failed, partSeal, SealName, "there is no seal")
		return found, nil
	}
	seal, err := ParseSeal(data)
	if err != nil {
		found.add(Failed, partSeal, SealName, "%v", err)
		return found, nil
	}
	found = append(found, seal.VerifyFiles(b.Entries(SealName))...)
	return append(found, seal.Verify(trust)...), seal
}

// VerifyFiles compares the files that are there, sorted by name, with those that
// the statement lists.
func (s *Seal) VerifyFiles(there []Entry) Findings {
	var found Findings
	at := 0
	for _, listed := range s.Statement.Files {
		for at < len(there) && there[at].Name < listed.Name {
			found.add(Failed, partSeal, there[at].Name, "the signed statement does not list it")
			at++
		}
		switch {
		case at == len(there) || there[at].Name != listed.Name:
			found.add(Failed, partSeal, listed.Name, "the signed statement lists it and it is missing")
			continue
		case there[at] != listed:
			found.add(Failed, partSeal, listed.Name, "its bytes are not those that were signed (%.8s… listed, %.8s… found)", listed.Digest.Hex(), there[at].Digest.Hex())
		}
		at++
	}
	for _, more := range there[at:] {
		found.add(Failed, partSeal, more.Name, "the signed statement does not list it")
	}
	if len(found) == 0 {
		found.add(Confirmed, partSeal, "", "%d files are those that the signed statement lists", len(there))
	}
	return found
}

// Verify verifies statement, list of keys, signatures, record and time stamps
// against each other and against what is trusted. It reads no clock and fetches
// nothing.
func (s *Seal) Verify(trust Trust) Findings {
	v := sealCheck{seal: s, keys: s.list()}
	if err := s.Statement.check(); err != nil {
		v.found.add(Failed, partSeal, "", "%v", err)
		return v.found
	}
	v.checkKeys(trust)
	v.checkStamps(trust)
	v.checkSignatures()
	v.checkRecord(trust)
	return v.found
}

// sealCheck collects what there is to say about a seal.
type sealCheck struct {
	seal  *Seal
	keys  *Keyring // the newest list that is known
	found Findings
	// The earliest times that trusted stamps prove, for the signatures and for the
	// checkpoint; zero: none.
	signedBy, checkedBy time.Time
}

// checkKeys looks at where the list of keys comes from.
func (v *sealCheck) checkKeys(trust Trust) {
	own, lab := v.keys, trust.Keys
	if lab != nil && lab.Founder().IsZero() {
		lab = nil // an empty list says nothing
	}
	founder := own.Founder()
	switch {
	case founder.IsZero():
		v.found.add(Failed, partKeys, "", "the seal brings no list of keys")
	case !trust.Founder.IsZero() && founder != trust.Founder:
		v.found.add(Failed, partKeys, "", "the list of keys begins with %s, and the lab's with %s", founder, trust.Founder)
	case lab != nil && !own.Begins(lab) && !lab.Begins(own):
		v.found.add(Failed, partKeys, "", "the list of keys and the lab's own have come apart")
	case trust.Founder.IsZero() && lab == nil:
		v.found.add(Caution, partKeys, "", "the keys are those that the dossier brings itself: compare %s with the fingerprint that the lab has published", founder)
	default:
		v.found.add(Confirmed, partKeys, "", "the list of keys is the lab's")
	}
	if lab != nil && own.Begins(lab) {
		v.keys = lab
	}
}

// checkStamps verifies the time stamps and notes the times that they prove.
func (v *sealCheck) checkStamps(trust Trust) {
	s := v.seal
	signed, err := s.Signed()
	if err != nil {
		v.found.add(Failed, partStamp, "", "%v", err)
		return
	}
	for _, token := range s.Stamps {
		of, ofCheckpoint := signed, false
		if s.Receipt != nil {
			checkpoint := OfBytes([]byte(s.Receipt.Checkpoint))
			if _, err := VerifyStamp(token, checkpoint, nil); err == nil {
				of, ofCheckpoint = checkpoint, true
			}
		}
		stamp, err := VerifyStamp(token, of, trust.StampRoots)
		switch {
		case err != nil:
			v.found.add(Failed, partStamp, "", "%v", err)
			continue
		case !stamp.Trusted:
			v.found.add(Caution, partStamp, stamp.By, "it is dated %s; no root certificate was given to trust it by", stamp.At.Format(time.RFC3339))
			continue
		}
		v.found.add(Confirmed, partStamp, stamp.By, "it existed at %s", stamp.At.Format(time.RFC3339))
		latest := stamp.At.Add(stamp.Accuracy)
		v.signedBy = earlier(v.signedBy, latest)
		if ofCheckpoint {
			v.checkedBy = earlier(v.checkedBy, latest)
		}
	}
}

// earlier returns the earlier of two times, of which the first may be none.
func earlier(a, b time.Time) time.Time {
	if a.IsZero() || b.Before(a) {
		return b
	}
	return a
}

// checkSignatures verifies every signature.
func (v *sealCheck) checkSignatures() {
	if len(v.seal.Signatures) == 0 {
		v.found.add(Failed, partSignature, "", "nobody has signed the statement")
		return
	}
	message, err := v.seal.Statement.Bytes()
	if err != nil {
		v.found.add(Failed, partSignature, "", "%v", err)
		return
	}
	var seen []string
	for _, one := range v.seal.Signatures {
		if slices.Contains(seen, one.Key) {
			v.found.add(Failed, partSignature, one.Key, "the key has signed twice")
			continue
		}
		seen = append(seen, one.Key)
		v.checkSignature(one, message)
	}
}

// checkSignature verifies one signature and the right of its key to give it.
func (v *sealCheck) checkSignature(one Signature, message []byte) {
	fail := func(err error) { v.found.add(Failed, partSignature, one.Key, "%v", err) }
	state, known := v.keys.Key(one.Key)
	if !known {
		v.found.add(Failed, partSignature, one.Key, "the key is not in the list of keys")
		return
	}
	comment, err := state.Key.Verify(message, one.Text)
	if err != nil {
		fail(err)
		return
	}
	var words signedWords
	if err := decode([]byte(comment), &words, encode); err != nil {
		v.found.add(Failed, partSignature, one.Key, "its comment %v", err)
		return
	}
	if words.By != state.Name || words.At != words.At.UTC().Truncate(time.Second) {
		fail(errors.New("its comment names another person than the list of keys, or no time in whole seconds"))
		return
	}
	if err := v.seal.mayNotSign(state, words.As, words.At); err != nil {
		fail(err)
		return
	}
	if v.revoked(partSignature, state, words.At, v.signedBy) {
		v.found.add(Confirmed, partSignature, one.Key, "%s %s it on %s", words.By, words.As, words.At.Format(time.RFC3339))
	}
}

// revoked reports whether a signature by a key still counts, and says so where it
// does not. At is the time that the signature itself states, which is its holder's
// word; zero where it states none. Proven is the latest time that a trusted stamp
// leaves for it. The word of a holder is taken unless the key was compromised.
func (v *sealCheck) revoked(part string, state KeyState, at, proven time.Time) bool {
	id, on := state.Key.ID(), state.Revoked.Format(time.RFC3339)
	switch {
	case state.Revoked.IsZero():
		return true
	case !state.Compromised && (at.IsZero() || at.Before(state.Revoked)):
		v.found.add(Caution, part, id, "the key was revoked later, on %s: %s", on, state.Reason)
		return true
	case !proven.IsZero() && proven.Before(state.Revoked):
		v.found.add(Caution, part, id, "the key was revoked on %s (%s); a time stamp proves that it signed before", on, state.Reason)
		return true
	case !state.Compromised:
		v.found.add(Failed, part, id, "it signed on %s, after it was revoked on %s: %s", at.Format(time.RFC3339), on, state.Reason)
	default:
		v.found.add(Failed, part, id, "the key was revoked on %s (%s) and nothing proves that it signed before", on, state.Reason)
	}
	return false
}

// checkRecord verifies the leaf's place in the record and the checkpoint.
func (v *sealCheck) checkRecord(trust Trust) {
	r := v.seal.Receipt
	if r == nil {
		v.found.add(Caution, partRecord, "", "the seal is not in a record")
		return
	}
	head, key, err := ParseCheckpoint([]byte(r.Checkpoint), v.recordKeys()...)
	if err != nil {
		v.found.add(Failed, partRecord, "", "%v", err)
		return
	}
	state, _ := v.keys.Key(key.ID())
	text, err := v.seal.Leaf()
	if err == nil {
		err = head.Includes(r.Index, text, r.Inclusion)
	}
	switch {
	case err != nil:
		v.found.add(Failed, partRecord, head.Origin, "%v", err)
	case state.Name != head.Origin:
		v.found.add(Failed, partRecord, head.Origin, "its checkpoint is signed by the key of %s", state.Name)
	case trust.Origin != "" && trust.Origin != head.Origin:
		v.found.add(Failed, partRecord, head.Origin, "the lab's record is %s", trust.Origin)
	case !v.revoked(partRecord, state, time.Time{}, v.checkedBy):
	default:
		v.found.add(Confirmed, partRecord, head.Origin, "it is leaf %d of %d", r.Index, head.Size)
	}
}
