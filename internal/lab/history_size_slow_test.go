//go:build slow

package lab

// historyCampaigns is how many campaigns BenchmarkHistory has.
const historyCampaigns = 10_000
