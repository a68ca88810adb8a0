package campaign

import "math/rand/v2"

// codeLetters and codeDigits are told apart in any handwriting.
const (
	codeLetters = "ABCDEFHJKLMNPRTUVWXY"
	codeDigits  = "2345679"
)

// codeStream sets the codes apart from anything else that a plan's seed decides.
const codeStream = 0x636f646573

// Codes returns a code for each block of the plan, such as K7, all different: what a
// rider sees where the plan is blind. Blocks of one configuration have different
// codes, so that nothing can be read from them. The same seed gives the same codes.
func (p *Plan) Codes() []string {
	chance := rand.New(rand.NewPCG(p.Seed, codeStream))
	taken := map[string]bool{}
	codes := make([]string, 0, len(p.Blocks))
	for len(codes) < len(p.Blocks) {
		code := string([]byte{codeLetters[chance.IntN(len(codeLetters))], codeDigits[chance.IntN(len(codeDigits))]})
		if !taken[code] {
			taken[code] = true
			codes = append(codes, code)
		}
	}
	return codes
}
