# The values that TestBiasIsWelchs holds the bias of two rigs against: Welch's t test of
# the two samples of [Student1908], which R has as its data set sleep.
# Rscript sleep.R
r <- t.test(extra ~ group, data = sleep)
cat(sprintf("difference %.10f\nstandard error %.10f\ndf %.10f\nlow %.10f\nhigh %.10f\n",
            unname(r$estimate[1] - r$estimate[2]), r$stderr, unname(r$parameter), r$conf.int[1], r$conf.int[2]))
