package correction

func none() Standard {
	return Standard{
		Name:    None,
		Title:   "none (as measured, not corrected for the air)",
		Formula: "CF = 1",
		Source:  "no standard",
		Note:    "Figures of different days are not comparable.",
	}
}
