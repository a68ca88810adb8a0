# Reference values for pooling and trend of variances. Run with R alone:
#   Rscript history.R > history.json
# Data are invented, but for Dyestuff, which is the data set of that name in lme4.
options(digits = 16)
num <- function(x) paste0("[", paste(format(x, digits = 16), collapse = ","), "]")

dyestuff <- list(
  A = c(1545, 1440, 1440, 1520, 1580), B = c(1540, 1555, 1490, 1560, 1495),
  C = c(1595, 1550, 1605, 1510, 1560), D = c(1445, 1440, 1595, 1465, 1545),
  E = c(1595, 1630, 1515, 1635, 1625), F = c(1520, 1455, 1450, 1480, 1445))
b <- bartlett.test(dyestuff)

uneven <- list(c(1.1, 0.2, -0.4, 0.9, -1.6, 0.3), c(0.1, 3.2), c(-2.5, 1.0, 0.7, 2.2),
  c(5.1, -4.0, 0.3), c(0.0, 0.4, 0.2, -0.3, 0.1))
u <- bartlett.test(uneven)

# The trend of variances that are gamma about exp(a + b t), weights half their df.
years <- c(0, 0.2, 0.5, 0.9, 1.1, 1.6, 2.0, 2.1)
df <- c(1, 3, 1, 2, 4, 1, 3, 6)
calm <- c(0.8, 1.1, 0.6, 1.3, 1.5, 1.4, 1.9, 2.2)
wild <- c(0.05, 3.1, 0.01, 0.9, 6.5, 0.3, 0.2, 4.0)
# glm stops where the deviance stands still, at half the digits of the slope: it is
# started again from where it stopped.
trend <- function(s2) {
  at <- c(log(mean(s2)), 0)
  for (i in 1:200) {
    fit <- suppressWarnings(glm(s2 ~ years, family = Gamma(link = "log"), weights = df / 2,
      start = at, control = glm.control(maxit = 1)))
    at <- coef(fit)
  }
  c(coef(fit)[["years"]], summary(fit, dispersion = 1)$coefficients["years", "Std. Error"],
    sum(residuals(fit, "pearson")^2))
}
cat("{\n")
cat('"source": "', R.version.string, '",\n', sep = "")
cat('"dyestuff": [', paste(sapply(dyestuff, num), collapse = ","), '],\n', sep = "")
cat('"dyestuff_p": ', format(b$p.value, digits = 16), ",\n", sep = "")
cat('"uneven": [', paste(sapply(uneven, num), collapse = ","), '],\n', sep = "")
cat('"uneven_p": ', format(u$p.value, digits = 16), ",\n", sep = "")
cat('"years": ', num(years), ',\n"df": ', num(df), ",\n", sep = "")
cat('"calm": ', num(calm), ',\n"wild": ', num(wild), ",\n", sep = "")
cat('"calm_slope_se_pearson": ', num(trend(calm)), ",\n", sep = "")
cat('"wild_slope_se_pearson": ', num(trend(wild)), ",\n", sep = "")
cat('"chi_limits": ', num(sqrt(3 / qchisq(c(0.975, 0.025), 3))), "\n}\n", sep = "")
