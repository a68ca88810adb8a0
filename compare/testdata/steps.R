# Reference values for contrasts between the configurations of one campaign.
# Run with R alone:  Rscript steps.R > steps.json
# The pulls are invented: ln(torque), the same at every engine speed, three pulls a
# block, every block its own setup. Block means are fitted by lm with one level a
# configuration and a straight drift; contrasts come from the coefficients and their
# covariance (vcov), with the residual degrees of freedom.
options(digits = 16)
num <- function(x) paste0("[", paste(format(x, digits = 16), collapse = ","), "]")

one <- function(name, order, gains, contrasts, seed) {
  set.seed(seed)
  conf <- strsplit(order, "")[[1]]
  block <- rep(seq_along(conf), each = 3)
  hours <- block * 0.7 + 0.01 * block^2 + 0.05 * rep(0:2, length(conf))
  y <- round(4.5 + gains[conf[block]] + 0.004 * hours +
    0.012 * rnorm(length(conf))[block] + 0.004 * rnorm(length(block)), 6)
  frame <- data.frame(m = as.numeric(tapply(y, block, mean)),
    h = as.numeric(tapply(hours, block, mean)), c = factor(conf))
  fit <- lm(m ~ 0 + c + h, frame)
  cat(sprintf('"%s": {"order": "%s", "hours": %s,\n  "y": %s,\n  "df": %d,\n  "contrasts": [\n',
    name, order, num(hours), num(y), fit$df.residual))
  rows <- character(0)
  for (k in names(contrasts)) {
    l <- setNames(rep(0, length(coef(fit))), names(coef(fit)))
    for (id in names(contrasts[[k]])) l[paste0("c", id)] <- contrasts[[k]][[id]]
    est <- sum(l * coef(fit))
    se <- sqrt(as.numeric(t(l) %*% vcov(fit) %*% l))
    t2 <- qt(0.975, fit$df.residual); t1 <- qt(0.95, fit$df.residual)
    w <- paste0("{", paste(sprintf('"%s": %s', names(contrasts[[k]]), format(unlist(contrasts[[k]]), digits = 16)), collapse = ", "), "}")
    rows <- c(rows, sprintf('    {"name": "%s", "weights": %s, "estimate": %s, "se": %s, "lo": %s, "hi": %s, "at_least": %s}',
      k, w, format(est), format(se), format(est - t2 * se), format(est + t2 * se), format(est - t1 * se)))
  }
  cat(paste(rows, collapse = ",\n"), "\n  ]}", sep = "")
}
cat("{\n")
one("ladder", "ABCDADCBA", c(A = 0, B = 0.02, C = 0.035, D = 0.06), list(
  "B over A" = list(B = 1, A = -1), "C over A" = list(C = 1, A = -1), "D over A" = list(D = 1, A = -1),
  "C over B" = list(C = 1, B = -1), "D over C" = list(D = 1, C = -1)), 11)
cat(",\n")
one("two parts, four combinations", "ABCDADCBADBC", c(A = 0, B = 0.02, C = 0.01, D = 0.05), list(
  "first part" = list(B = 0.5, A = -0.5, D = 0.5, C = -0.5),
  "second part" = list(C = 0.5, A = -0.5, D = 0.5, B = -0.5),
  "together" = list(D = 1, C = -1, B = -1, A = 1)), 12)
cat("\n}\n")
