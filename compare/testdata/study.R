# Reference values for the mean squares that one campaign finds of its own scatter.
# Run with R alone:  Rscript study.R > study.json
# The pulls are invented: ln(torque), the same at every engine speed.
options(digits = 16)
num <- function(x) paste0("[", paste(format(x, digits = 16), collapse = ","), "]")
str <- function(x) paste0('["', paste(x, collapse = '","'), '"]')

one <- function(name, order, setup, pulls, seed) {
  set.seed(seed)
  configuration <- strsplit(order, "")[[1]]
  block <- rep(seq_along(configuration), pulls)
  hours <- block * 0.7 + 0.01 * block^2 + 0.05 * sequence(pulls)
  y <- round(4.5 + 0.03 * (configuration[block] == "B") + 0.004 * hours +
    0.01 * rnorm(max(setup))[setup[block]] + 0.003 * rnorm(length(configuration))[block] +
    0.005 * rnorm(length(block)), 6)
  m <- tapply(y, block, mean)
  h <- tapply(hours, block, mean)
  within <- lm(y ~ factor(block))
  frame <- data.frame(m = as.numeric(m), h = as.numeric(h), c = configuration, s = factor(setup))
  several <- length(unique(setup)) > 1
  mixed <- several && length(unique(setup)) < length(setup)
  both <- length(unique(configuration)) > 1
  f <- m ~ h
  if (both) f <- update(f, . ~ . + c)
  plain <- lm(f, frame)
  blocks <- if (mixed) lm(update(f, . ~ . + s), frame) else plain
  first <- frame[frame$c == "A" & !duplicated(paste(frame$c, frame$s)), ]
  setups <- if (mixed) lm(m ~ h, first) else plain
  g <- summary(plain)$cov.unscaled["h", "h"]
  cat(sprintf('"%s": {"order": "%s", "setup": %s, "pulls": %s,\n', name, order, num(setup), num(pulls)))
  cat('  "configuration": ', str(configuration[block]), ',\n  "block": ', num(block), ",\n", sep = "")
  cat('  "hours": ', num(hours), ',\n  "y": ', num(y), ",\n", sep = "")
  cat('  "pull_ss": ', format(deviance(within), digits = 16), ', "pull_df": ', df.residual(within), ",\n", sep = "")
  level <- function(n, fit, has) cat('  "', n, '_ss": ', if (has) format(deviance(fit), digits = 16) else 0,
    ', "', n, '_df": ', if (has) df.residual(fit) else 0, ",\n", sep = "")
  level("setup", setups, several)
  level("block", blocks, !several || mixed)
  cat('  "slope": ', format(coef(plain)[["h"]], digits = 16), ', "slope_takes": ', format(g, digits = 16), "}", sep = "")
}
cat("{\n")
one("ABBAAB", "ABBAAB", 1:6, c(3, 2, 4, 3, 3, 2), 1)
cat(",\n")
one("ABABAB in one setup", "ABABAB", rep(1, 6), c(3, 3, 3, 3, 3, 3), 2)
cat(",\n")
one("ABBAABBA, two blocks a setup", "ABBAABBA", c(1, 1, 2, 2, 3, 3, 4, 4), c(3, 2, 2, 3, 3, 3, 2, 4), 3)
cat(",\n")
one("six setups of the baseline", "AAAAAA", 1:6, c(3, 3, 2, 3, 4, 3), 4)
cat("\n}\n")
